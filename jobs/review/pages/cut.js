(() => {
  const by = (id) => document.getElementById(id);
  const cut = JSON.parse(by("cut-data").textContent);
  const { shots, findings } = cut;
  const KEPT = 24; // takes that are kept in memory
  const starts = [];
  const total = shots.reduce((sum, shot) => {
    starts.push(sum);
    return sum + shot.count;
  }, 0);
  const shotAt = (k) => {
    let [low, high] = [0, shots.length - 1];
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (starts[middle] <= k) low = middle;
      else high = middle - 1;
    }
    return low;
  };

  // Data of a shot is a script beside the page, run when the shot is reached.
  // A camera of an action is in the cut several times, with one take.
  const takes = new Map();
  const numbered = new Map(shots.map((shot, n) => [shot.name, n]).reverse());
  const takeOf = (n) => takes.get(shots[n].name);
  const camerasOf = (n) => {
    const action = cut.actions[shots[n].action];
    return action ? action.cameras : [];
  };
  const isHere = (name) => {
    const n = shotAt(player.at());
    return shots[n].name === name || camerasOf(n).some((one) => one.name === name);
  };
  window.carrellataTake = (name, data) => {
    takes.set(name, pictures.take(data));
    if (takes.size > KEPT) {
      const here = shotAt(player.at());
      const far = (one) => (isHere(one) ? -1 : Math.abs(numbered.get(one) - here));
      const farthest = [...takes.keys()].sort((a, b) => far(b) - far(a));
      takes.delete(farthest[0]);
    }
    if (isHere(name)) player.go(player.at());
  };
  const asked = new Set();
  const load = (shot) => {
    if (!shot || !shot.file || takes.has(shot.name) || asked.has(shot.name)) return;
    asked.add(shot.name);
    const script = document.createElement("script");
    const done = (lost) => () => {
      asked.delete(shot.name);
      script.remove();
      if (lost) {
        for (const one of shots.filter((each) => each.name === shot.name)) {
          one.file = "";
          one.why = "its data is not beside this page";
        }
        shot.file = "";
        if (isHere(shot.name)) player.go(player.at());
      }
    };
    script.addEventListener("load", done(false));
    script.addEventListener("error", done(true));
    script.src = shot.file;
    document.head.appendChild(script);
  };

  const two = (value) => String(value).padStart(2, "0");
  const label = (k) => {
    if (!cut.clock) return `${((k * cut.rate[1]) / cut.rate[0]).toFixed(2)} s`;
    const { start, nominal, dropped } = cut.clock;
    let n = start + k;
    if (dropped) {
      const inMinute = 60 * nominal - dropped;
      const inTen = 10 * inMinute + dropped;
      n %= 144 * inTen;
      const [tens, rest] = [Math.floor(n / inTen), n % inTen];
      n += dropped * (9 * tens + Math.max(0, Math.floor((rest - dropped) / inMinute)));
    }
    n %= 24 * 3600 * nominal;
    const seconds = Math.floor(n / nominal);
    const parts = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60, seconds % 60];
    return `${parts.map(two).join(":")}${dropped ? ";" : ":"}${two(n % nominal)}`;
  };

  const picture = pictures.picture(by("screen"));
  const blank = by("blank");
  let shown = -1;
  const entry = (n) => by(`shot-${n}`);
  const enter = (n) => {
    if (shown >= 0) entry(shown).removeAttribute("aria-current");
    shown = n;
    const shot = shots[n];
    entry(n).setAttribute("aria-current", "true");
    by("shot").textContent = shot.name;
    by("shot").href = shot.page;
    for (const name of ["scene", "lens", "size", "rig", "state", "purpose"])
      by(name).textContent = shot[name] || "\u2013";
    by("heard").textContent = `Shot ${shot.name}, scene ${shot.scene}, ${shot.lens}, ${shot.size}, ${shot.state}`;
  };
  // All cameras of an action at one moment, below the cut.
  const [wall, all] = [by("wall"), by("all")];
  let walled = -1;
  let screens = [];
  const build = (action) => {
    walled = action;
    wall.replaceChildren();
    screens = (cut.actions[action] || { cameras: [] }).cameras.map((one) => {
      const [frame, words] = ["figure", "figcaption"].map((kind) => document.createElement(kind));
      const svg = by("screen").cloneNode(false);
      svg.removeAttribute("id");
      svg.setAttribute("class", "picture");
      svg.setAttribute("aria-label", `Camera ${one.camera}`);
      words.textContent = one.camera;
      frame.append(svg, words);
      wall.append(frame);
      return { one, frame, svg, picture: pictures.picture(svg) };
    });
  };
  const showAll = (n, k) => {
    if (!wall) return;
    const { action, first } = shots[n];
    wall.hidden = !all.checked || action < 0;
    if (wall.hidden) return;
    if (walled !== action) build(action);
    const at = first + k - starts[n] - cut.actions[action].first;
    for (const { one, frame, svg, picture } of screens) {
      load(one);
      const take = takes.get(one.name);
      svg.setAttribute("visibility", take ? "visible" : "hidden");
      frame.classList.toggle("on", one.name === shots[n].name);
      if (take) picture.draw(take, at, players.switches());
    }
  };
  const show = (k) => {
    const n = shotAt(k);
    if (n !== shown) enter(n);
    load(shots[n]);
    load(shots[n + 1]);
    load(shots[n + 2]);
    const take = takeOf(n);
    const shot = shots[n];
    const at = k - starts[n] + shot.from;
    by("screen").setAttribute("visibility", take ? "visible" : "hidden");
    blank.hidden = Boolean(take);
    if (take)
      picture.draw(take, at, players.switches());
    else blank.textContent = shot.file ? `Shot ${shot.name}` : `Shot ${shot.name}: ${shot.why}`;
    const frame = shot.first + k - starts[n];
    showAll(n, k);
    by("frame").textContent = String(frame);
    by("timecode").textContent = label(k);
    by("scrub").value = k;
    by("scrub").setAttribute("aria-valuetext", `shot ${shot.name}, frame ${frame}`);
  };

  let here = 0;
  const sceneRange = (n) => {
    let [a, b] = [n, n];
    while (a > 0 && shots[a - 1].scene === shots[n].scene) a -= 1;
    while (b < shots.length - 1 && shots[b + 1].scene === shots[n].scene) b += 1;
    return [starts[a], starts[b] + shots[b].count - 1];
  };
  const range = (k) => {
    const n = shotAt(k);
    const ways = {
      shot: () => [starts[n], starts[n] + shots[n].count - 1],
      scene: () => sceneRange(n),
      here: () => [here, total - 1],
      cut: () => [0, total - 1],
    };
    return (ways[by("repeat").value] || (() => null))();
  };
  const say = (words) => {
    by("heard").textContent = words;
  };
  const player = players.player({
    count: total,
    rate: cut.rate,
    show,
    ready: (k) => takes.has(shots[shotAt(k)].name) || !shots[shotAt(k)].file,
    next: (k, to) => {
      const repeated = range(k);
      if (repeated && to > repeated[1]) return repeated[0];
      return to < total ? null : undefined;
    },
    changed: (playing) => {
      players.plays(playing);
      say(`${playing ? "Playing" : "Stopped at"} shot ${shots[shown].name}, ${by("timecode").textContent}`);
    },
  });
  const tell = () => say(`Shot ${shots[shown].name}, frame ${by("frame").textContent}`);
  const shot = (way) => () => {
    const n = shotAt(player.at());
    const back = way < 0 && player.at() > starts[n] ? n : n + way;
    player.go(starts[Math.min(Math.max(back, 0), shots.length - 1)]);
  };
  const moments = findings
    .map((one) => ({ ...one, k: starts[one.shot] + one.frame - shots[one.shot].first }))
    .sort((a, b) => a.k - b.k);
  let chosen = -1;
  const finding = (way) => () => {
    if (!moments.length) return;
    const k = player.at();
    const onIt = chosen >= 0 && moments[chosen].k === k;
    if (onIt) chosen += way;
    else if (way > 0) chosen = moments.findIndex((one) => one.k >= k);
    else chosen = moments.findLastIndex((one) => one.k <= k);
    chosen = chosen < 0 ? (way > 0 ? 0 : moments.length - 1) : chosen % moments.length;
    const one = moments[chosen];
    player.stop();
    player.go(one.k);
    const words = `Finding ${chosen + 1} of ${moments.length}, ${one.severity}: ${one.title}. ${one.text}`;
    by("found").textContent = words;
    say(words);
  };
  players.panel(player, {
    seen: "watched", tell, redraw: () => show(player.at()),
    ends: () => [0, total - 1], slid: (value) => value,
    more: { ArrowUp: shot(-1), ArrowDown: shot(1) },
  });
  by("shot_before").addEventListener("click", shot(-1));
  by("shot_after").addEventListener("click", shot(1));
  by("finding_before").addEventListener("click", finding(-1));
  by("finding_after").addEventListener("click", finding(1));
  by("repeat").addEventListener("change", () => {
    here = player.at();
  });
  if (all) all.addEventListener("change", () => player.go(player.at()));
  by("scrub").max = total - 1;
  // The address names a shot, and a frame of it: #050 or #050.f1402.
  const follow = () => {
    const [name, frame] = decodeURIComponent(location.hash.slice(1)).split(".f");
    const number = Number(frame);
    const has = ({ first, count }) => number >= first && number < first + count;
    const among = shots.findIndex((shot) => shot.name === name && has(shot));
    const n = among < 0 ? numbered.get(name) : among;
    if (n === undefined) return false;
    const at = frame === undefined ? 0 : number - shots[n].first;
    player.go(starts[n] + Math.min(Math.max(at || 0, 0), shots[n].count - 1));
    by("watched").scrollIntoView({ block: "nearest" });
    return true;
  };
  addEventListener("hashchange", follow);
  if (!follow()) player.go(0);
  window.cut = Object.freeze({
    at: player.at, playing: player.playing, tally: player.tally, total, label,
    shot: () => shots[shown].name,
    drawn: () => takes.has(shots[shown].name),
    go: player.go,
  });
})();
