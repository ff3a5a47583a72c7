(() => {
  const by = (id) => document.getElementById(id);
  const shots = JSON.parse(by("pictures").textContent);
  const KINDS = ["was", "pan"];
  const floats = (text) =>
    new Float32Array(Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer);

  // All shots in the order of the cut, on the frames of both takes together.
  const known = new Map();
  const sides = (n) => {
    if (!known.has(n)) {
      const [before, after] = shots[n].takes.map((data) => data && pictures.take(data));
      known.set(n, [before || after, after]);
    }
    return known.get(n);
  };
  let total = 0;
  shots.forEach((shot) => {
    shot.start = total;
    total += shot.last - shot.first + 1;
  });
  const shotAt = (k) => shots.findLastIndex((shot) => shot.start <= k);
  const endOf = (n) => shots[n].start + shots[n].last - shots[n].first;

  const drawn = ["before", "after"].map((id) => pictures.picture(by(id)));
  let shown = -1;
  let heads = [];
  const enter = (n) => {
    shown = n;
    const shot = shots[n];
    by("which").value = String(n);
    by("scrub").min = shot.first;
    by("scrub").max = shot.last;
    by("changes").replaceChildren(...shot.words.map((words) => {
      const line = document.createElement("li");
      line.textContent = words;
      return line;
    }));
    const host = by("curves");
    host.replaceChildren();
    heads = shot.curves.map(([title, ...texts]) => overlays.overlay(
      host,
      title,
      texts.map((text, side) => {
        const values = floats(text);
        return { values, kind: KINDS[side], first: sides(n)[side].frames[0] };
      }),
      [shot.first, shot.last],
    ));
  };
  const show = (k) => {
    const n = shotAt(k);
    if (n !== shown) enter(n);
    const shot = shots[n];
    const frame = shot.first + k - shot.start;
    sides(n).forEach((one, side) => {
      const row = frame - one.frames[0];
      const has = row >= 0 && row < one.count;
      by(["before", "after"][side]).setAttribute("visibility", has ? "visible" : "hidden");
      if (has) drawn[side].draw(one, row, players.switches());
    });
    heads.forEach((head) => head(frame));
    by("scrub").value = frame;
    by("now").textContent = `shot ${shot.name}, frame ${frame}`;
  };
  const tell = () => {
    by("heard").textContent = `Shot ${shots[shown].name}, ${by("now").textContent}, both takes`;
  };
  // What is due when `to` lies in another shot than `k`.
  const next = (k, to) => {
    const n = shotAt(k);
    if (to <= endOf(n)) return null;
    const what = by("what").value;
    if (what === "shot") return undefined;
    const after = shots.findIndex((shot, m) => m > n && (what === "cut" || shot.changed));
    return after < 0 ? undefined : shots[after].start;
  };
  const player = players.player({
    count: total,
    rate: sides(0)[1].rate,
    show,
    next,
    last: (k) => endOf(shotAt(k)),
    changed: (playing) => {
      players.plays(playing);
      tell();
    },
  });
  players.panel(player, {
    seen: "pair", tell, redraw: () => show(player.at()),
    ends: () => [shots[shown].start, endOf(shown)],
    slid: (frame) => shots[shown].start + frame - shots[shown].first,
  });
  by("which").addEventListener("change", () => {
    player.stop();
    player.go(shots[Number(by("which").value)].start);
    tell();
  });
  by("laid").addEventListener("change", () => {
    const over = by("laid").value === "over";
    by("both").classList.toggle("over", over);
    by("laid_words").hidden = !over;
  });
  const follow = () => {
    const n = shots.findIndex((shot) => shot.name === decodeURIComponent(location.hash.slice(1)));
    if (n < 0) return false;
    player.stop();
    player.go(shots[n].start);
    by("pair").scrollIntoView({ block: "nearest" });
    return true;
  };
  addEventListener("hashchange", follow);
  by("pair").hidden = false;
  if (!follow()) player.go(shots[Math.max(0, shots.findIndex((shot) => shot.changed))].start);
  window.pair = Object.freeze({
    frame: () => shots[shown].first + player.at() - shots[shown].start,
    shot: () => shots[shown].name,
    playing: player.playing,
    project: (n, frame) => {
      const one = sides(shown)[n];
      return pictures.project(one, frame - one.frames[0], true);
    },
  });
})();
