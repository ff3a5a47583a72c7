(() => {
  const by = (id) => document.getElementById(id);
  const pairs = JSON.parse(by("pictures").textContent);
  const known = new Map();
  const sides = (n) => {
    if (!known.has(n)) known.set(n, pairs[n].map((data) => pictures.take(data)));
    return known.get(n);
  };
  const drawn = ["before", "after"].map((id) => pictures.picture(by(id)));
  let shown = [];
  let first = 0;
  let player = null;
  const show = (k) => {
    const frame = first + k;
    shown.forEach((one, n) => {
      const row = frame - one.frames[0];
      const has = row >= 0 && row < one.count;
      by(["before", "after"][n]).setAttribute("visibility", has ? "visible" : "hidden");
      if (has) drawn[n].draw(one, row, { headroom: by("headroom").checked });
    });
    by("scrub").value = frame;
    by("now").textContent = `frame ${frame}`;
  };
  const tell = () => {
    const shot = by("which").selectedOptions[0].textContent;
    by("heard").textContent = `Shot ${shot}, ${by("now").textContent}, before and after`;
  };
  const choose = () => {
    if (player) player.stop();
    shown = sides(Number(by("which").value));
    first = Math.min(...shown.map((one) => one.frames[0]));
    const last = Math.max(...shown.map((one) => one.frames[one.count - 1]));
    by("scrub").min = first;
    by("scrub").max = last;
    player = players.player({
      count: last - first + 1,
      rate: shown[1].rate,
      show,
      next: (k, to) => (to > last - first ? undefined : null),
      changed: (playing) => {
        by("play").textContent = playing ? "Pause" : "Play";
        tell();
      },
    });
    player.go(0);
    tell();
  };
  const step = (way) => () => {
    player.step(way);
    tell();
  };
  const go = (k) => () => player.go(k);
  const play = () => player.play();
  players.keys({
    " ": play,
    ArrowLeft: step(-1),
    ArrowRight: step(1),
    "Shift+ArrowLeft": step(-10),
    "Shift+ArrowRight": step(10),
    Home: go(0),
    End: go(Infinity),
  }, () => players.inSight(by("pair")));
  by("play").addEventListener("click", play);
  by("back").addEventListener("click", step(-1));
  by("forth").addEventListener("click", step(1));
  by("which").addEventListener("change", choose);
  by("headroom").addEventListener("change", () => show(player.at()));
  by("scrub").addEventListener("input", () => player.go(Number(by("scrub").value) - first));
  by("pair").hidden = false;
  by("still").hidden = true;
  choose();
  window.pair = Object.freeze({
    frame: () => first + player.at(),
    project: (n, frame) => pictures.project(shown[n], frame - shown[n].frames[0], true),
  });
})();
