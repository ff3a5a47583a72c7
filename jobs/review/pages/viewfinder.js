"use strict";
(() => {
  const data = JSON.parse(document.getElementById("viewfinder-data").textContent);
  const numbers = (text, Kind) => {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    return new Kind(bytes.buffer);
  };
  const [perMany, seconds] = data.rate;
  const { count, first } = data;
  const base = numbers(data.base, Float64Array);
  const head = numbers(data.head, Float64Array);
  const final = numbers(data.final, Float64Array);
  const turn = numbers(data.turn, Float64Array);
  const aimed = numbers(data.aimed, Float64Array);
  const figures = data.figures.map((one) => ({
    name: one.name,
    height: one.height,
    floor: numbers(one.floor, Float32Array),
    eyes: numbers(one.eyes, Float32Array),
  }));
  const hidden = new Set(data.hidden);
  const at = (values, k) => [values[3 * k], values[3 * k + 1], values[3 * k + 2]];

  // Rows of the camera's own axes in the world: right, up, back.
  const baseAxes = (k) => {
    const [p, t, r] = at(head, k);
    const [cp, sp, ct, st] = [Math.cos(p), Math.sin(p), Math.cos(t), Math.sin(t)];
    const [cr, sr] = [Math.cos(r), Math.sin(r)];
    return [
      [cp * cr + sp * st * sr, ct * sr, cp * st * sr - sp * cr],
      [sp * st * cr - cp * sr, ct * cr, sp * sr + cp * st * cr],
      [sp * ct, -st, cp * ct],
    ];
  };
  const finalAxes = (k) => {
    const [x, y, z, w] = [0, 1, 2, 3].map((c) => turn[4 * k + c]);
    return [
      [1 - 2 * (y * y + z * z), 2 * (x * y + w * z), 2 * (x * z - w * y)],
      [2 * (x * y - w * z), 1 - 2 * (x * x + z * z), 2 * (y * z + w * x)],
      [2 * (x * z + w * y), 2 * (y * z - w * x), 1 - 2 * (x * x + y * y)],
    ];
  };
  const camera = (k, shaken) => ({
    place: at(shaken ? final : base, k),
    axes: shaken ? finalAxes(k) : baseAxes(k),
  });
  const seen = (point, { place, axes }) => {
    const d = [0, 1, 2].map((c) => point[c] - place[c]);
    return axes.map((axis) => axis[0] * d[0] + axis[1] * d[1] + axis[2] * d[2]);
  };
  const screen = ([x, y, z]) => ({
    u: x / (-z * data.tan_u),
    v: y / (-z * data.tan_v) + data.axis_v,
  });

  const project = (frame, shaken = false) => {
    const k = frame - first;
    return screen(seen(at(aimed, k), camera(k, shaken)));
  };

  const WIDE = 1000;
  const high = (WIDE * data.tan_v) / data.tan_u;
  const NEAR = 0.1;
  const REACH = 12;
  const POST = 4;
  const placed = ({ u, v }) =>
    `${((1 + u) * 0.5 * WIDE).toFixed(1)} ${((1 - v) * 0.5 * high).toFixed(1)}`;
  const segment = (from, to, view) => {
    let [a, b] = [seen(from, view), seen(to, view)];
    if (-a[2] < NEAR && -b[2] < NEAR) return "";
    const cut = (p, q) => {
      const share = (-NEAR - p[2]) / (q[2] - p[2]);
      return p.map((value, c) => value + share * (q[c] - value));
    };
    if (-a[2] < NEAR) a = cut(a, b);
    else if (-b[2] < NEAR) b = cut(b, a);
    return `M${placed(screen(a))}L${placed(screen(b))}`;
  };

  const grid = (k, view) => {
    const one = figures[data.followed[k]].floor;
    const [cx, cz] = [Math.round(one[3 * k]), Math.round(one[3 * k + 2])];
    const paths = ["", "", ""];
    const ground = data.ground;
    for (let n = -REACH; n <= REACH; n += 1) {
      for (let m = -REACH; m <= REACH; m += 1) {
        const [x, z] = [cx + n, cz + m];
        if (x % 5 || z % 5) continue;
        paths[2] += segment([x, ground, z], [x, ground + POST, z], view);
      }
    }
    for (let n = -REACH; n <= REACH; n += 1) {
      const [x, z, y] = [cx + n, cz + n, ground];
      const along = segment([x, y, cz - REACH], [x, y, cz + REACH], view);
      const across = segment([cx - REACH, y, z], [cx + REACH, y, z], view);
      paths[x % 5 === 0 ? 1 : 0] += along;
      paths[z % 5 === 0 ? 1 : 0] += across;
    }
    return paths;
  };

  // A body is a capsule that faces the lens, floor to shoulders, and a head round the eyes.
  const outline = (figure, k, view) => {
    const [floor, eyes] = [at(figure.floor, k), at(figure.eyes, k)];
    const d = [0, 1, 2].map((c) => eyes[c] - view.place[c]);
    const level = Math.hypot(d[0], d[2]) || 1;
    const side = [-d[2] / level, 0, d[0] / level];
    const on = (fraction, across) =>
      [0, 1, 2].map(
        (c) => floor[c] + ((eyes[c] - floor[c]) * fraction) / data.body.eyes + side[c] * across,
      );
    const radius = 0.11 * figure.height;
    const turns = [...Array(13).keys()].map((n) => (Math.PI * n) / 12);
    const shoulder = data.body.shoulders - 0.11;
    const neck = 0.035 * figure.height;
    const trunk = [
      on(0, -0.5 * radius),
      ...turns.slice(0, 6).map((a) => on(shoulder + 0.11 * Math.sin(a), -radius * Math.cos(a))),
      on(data.body.shoulders + 0.01, -neck),
      on(data.body.eyes - 0.055, -neck),
      on(data.body.eyes - 0.055, neck),
      on(data.body.shoulders + 0.01, neck),
      ...turns.slice(7).map((a) => on(shoulder + 0.11 * Math.sin(a), -radius * Math.cos(a))),
      on(0, 0.5 * radius),
    ];
    const crown = [...Array(24).keys()].map((n) => {
      const a = (2 * Math.PI * n) / 24;
      return on(data.body.eyes + 0.065 * Math.sin(a), 0.05 * figure.height * Math.cos(a));
    });
    const rings = [trunk, crown].map((ring) => ring.map((point) => seen(point, view)));
    if (rings.flat().some((point) => -point[2] < NEAR)) return null;
    const path = rings.map((ring) => `M${ring.map((p) => placed(screen(p))).join("L")}Z`);
    const drop = segment(floor, [floor[0], data.ground, floor[2]], view);
    return { depth: -seen(eyes, view)[2], path: path.join(""), drop };
  };

  const by = (id) => document.getElementById(id);
  const picture = by("viewfinder");
  const make = (name, kind, parent = picture) => {
    const node = document.createElementNS("http://www.w3.org/2000/svg", name);
    node.setAttribute("class", kind);
    return parent.appendChild(node);
  };
  const fine = make("path", "grid");
  const coarse = make("path", "grid coarse");
  const posts = make("path", "post");
  const horizon = make("path", "horizon");
  const crowd = make("g", "crowd");
  const drops = make("path", "drop", crowd);
  const nodes = figures.map(() => make("path", "figure", crowd));
  const point = make("circle", "point");
  point.setAttribute("r", "9");

  let current = -1;
  let from = null;
  const draw = () => {
    const k = current;
    const view = camera(k, by("shake").checked);
    const lines = grid(k, view);
    [fine, coarse, posts].forEach((node, n) => node.setAttribute("d", lines[n]));
    const back = view.axes[2];
    const level = Math.hypot(back[0], back[2]) || 1;
    const far = [-1, 1].map((side) => [
      view.place[0] + (1e4 * (-back[0] + 3 * side * back[2])) / level,
      view.place[1],
      view.place[2] + (1e4 * (-back[2] - 3 * side * back[0])) / level,
    ]);
    horizon.setAttribute("d", segment(far[0], far[1], view));
    const drawn = figures
      .map((figure, n) => ({ n, shape: outline(figure, k, view) }))
      .sort((a, b) => (b.shape ? b.shape.depth : 0) - (a.shape ? a.shape.depth : 0));
    let dropped = "";
    drawn.forEach(({ n, shape }) => {
      const node = nodes[n];
      crowd.appendChild(node);
      node.setAttribute("d", shape ? shape.path : "");
      const kind = n === data.followed[k] && !hidden.has(k) ? "figure followed" : "figure";
      node.setAttribute("class", kind);
      dropped += shape ? shape.drop : "";
    });
    drops.setAttribute("d", dropped);
    const [cx, cy] = placed(screen(seen(at(aimed, k), view))).split(" ");
    const ahead = -seen(at(aimed, k), view)[2] > NEAR && !hidden.has(k);
    point.setAttribute("visibility", ahead ? "visible" : "hidden");
    point.setAttribute("cx", cx);
    point.setAttribute("cy", cy);
  };
  const show = (k) => {
    current = Math.min(Math.max(k, 0), count - 1);
    draw();
    by("scrub").value = first + current;
    const time = ((current * seconds) / perMany).toFixed(2);
    const lost = hidden.has(current) ? ", subject hidden" : "";
    by("now").textContent = `frame ${first + current}, ${time} s${lost}`;
  };
  const stop = () => {
    from = null;
    by("play").textContent = "Play";
  };
  // Frames follow the clock: one that comes too late is left out, so time never drifts.
  const tick = (now) => {
    if (from === null) return;
    if (from.time === null) from.time = now;
    const k = from.frame + Math.floor(((now - from.time) * perMany) / (1000 * seconds));
    if (k !== current) show(k);
    if (k >= count - 1) stop();
    else requestAnimationFrame(tick);
  };
  const play = () => {
    if (from !== null) {
      stop();
      return;
    }
    from = { frame: current >= count - 1 ? 0 : current, time: null };
    by("play").textContent = "Pause";
    requestAnimationFrame(tick);
  };
  const step = (way) => () => {
    stop();
    show(current + way);
  };
  by("play").addEventListener("click", play);
  by("back").addEventListener("click", step(-1));
  by("forth").addEventListener("click", step(1));
  by("shake").addEventListener("change", draw);
  by("scrub").addEventListener("input", () => {
    stop();
    show(Number(by("scrub").value) - first);
  });
  by("controls").hidden = false;
  by("still").hidden = true;
  show(0);
  window.viewfinder = Object.freeze({
    project,
    show: (frame) => show(frame - first),
    frame: () => first + current,
    playing: () => from !== null,
  });
})();
