"use strict";
// Draws a moment of a take through its lens into an SVG element. Every picture of the
// review comes from here: the viewfinder, the cut, the posters.
const pictures = (() => {
  const NEAR = 0.1; // metres; what is nearer is cut off
  const WIDE = 1000; // of a picture, in its own units
  const FAR = 400; // metres; the ground is drawn this far
  const REACH = 12; // metres; the grid round the followed subject
  const POST = 4; // metres
  const GAUGE = 0.31; // metres, half of it
  const SHADES = 6;
  const BESIDE = 1.5; // half frames; lines are drawn this far

  const numbers = (text, bits) => {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    return bits === 64 ? new Float64Array(bytes.buffer) : new Float32Array(bytes.buffer);
  };
  const at = (values, k) => [values[3 * k], values[3 * k + 1], values[3 * k + 2]];
  const minus = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  const mixed = (a, b, share) => a.map((value, c) => value + share * (b[c] - value));

  // Rows of the camera's own axes in the world: right, up, back.
  const axesOfHead = ([p, t, r]) => {
    const [cp, sp, ct, st] = [Math.cos(p), Math.sin(p), Math.cos(t), Math.sin(t)];
    const [cr, sr] = [Math.cos(r), Math.sin(r)];
    return [
      [cp * cr + sp * st * sr, ct * sr, cp * st * sr - sp * cr],
      [sp * st * cr - cp * sr, ct * cr, sp * sr + cp * st * cr],
      [sp * ct, -st, cp * ct],
    ];
  };
  const axesOfTurn = ([x, y, z, w]) => [
    [1 - 2 * (y * y + z * z), 2 * (x * y + w * z), 2 * (x * z - w * y)],
    [2 * (x * y - w * z), 1 - 2 * (x * x + z * z), 2 * (y * z + w * x)],
    [2 * (x * z + w * y), 2 * (y * z - w * x), 1 - 2 * (x * x + y * y)],
  ];

  // A take as the page brings it, its numbers unpacked.
  const take = (data) => {
    const { bits } = data;
    const [final, turn] = [numbers(data.final, bits), numbers(data.turn, bits)];
    const base = data.base ? numbers(data.base, bits) : null;
    const head = data.head ? numbers(data.head, bits) : null;
    const figures = data.figures.map((one) => ({
      name: one.name,
      shade: one.shade % SHADES,
      height: one.height,
      floor: numbers(one.floor, 32),
      eyes: numbers(one.eyes, 32),
      facing: numbers(one.facing, 32),
    }));
    const rail = [...Array(data.rail.length / 3).keys()].map((k) => at(data.rail, k));
    const camera = (k, shaken) =>
      shaken || !base
        ? { place: at(final, k), axes: axesOfTurn(turn.slice(4 * k, 4 * k + 4)) }
        : { place: at(base, k), axes: axesOfHead(at(head, k)) };
    const bits1 = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    const built = data.set && {
      edges: numbers(data.set.edges, 32), seen: data.set.seen.map(bits1), key: data.set.key,
    };
    return {
      ...data,
      built,
      aimed: numbers(data.aimed, bits),
      asked: data.asked ? numbers(data.asked, 32) : null,
      hidden: new Set(data.hidden),
      high: (WIDE * data.tan_v) / data.tan_u,
      figures,
      rail,
      camera,
    };
  };

  const seen = (point, view) => {
    const d = minus(point, view.place);
    return view.axes.map((axis) => dot(axis, d));
  };
  const screen = (one, [x, y, z]) => ({
    u: x / (-z * one.tan_u),
    v: y / (-z * one.tan_v) + one.axis_v,
  });
  const project = (one, k, shaken) =>
    screen(one, seen(at(one.aimed, k), one.camera(k, shaken)));
  const placed = (one, { u, v }) =>
    `${((1 + u) * 0.5 * WIDE).toFixed(1)} ${((1 - v) * 0.5 * one.high).toFixed(1)}`;

  const cutAt = (p, q) => mixed(p, q, (-NEAR - p[2]) / (q[2] - p[2]));
  // What is beside the picture is left out: a dashed line to a far place takes for ever.
  const inside = (a, b) => {
    let [start, end] = [0, 1];
    const [du, dv] = [b.u - a.u, b.v - a.v];
    for (const [d, room] of [[-du, a.u + BESIDE], [du, BESIDE - a.u], [-dv, a.v + BESIDE], [dv, BESIDE - a.v]]) {
      if (d === 0 && room < 0) return null;
      if (d < 0) start = Math.max(start, room / d);
      if (d > 0) end = Math.min(end, room / d);
    }
    const on = (share) => ({ u: a.u + share * du, v: a.v + share * dv });
    return start < end ? [on(start), on(end)] : null;
  };
  const segment = (one, from, to, view) => {
    let [a, b] = [seen(from, view), seen(to, view)];
    if (-a[2] < NEAR && -b[2] < NEAR) return "";
    if (-a[2] < NEAR) a = cutAt(a, b);
    else if (-b[2] < NEAR) b = cutAt(b, a);
    const ends = inside(screen(one, a), screen(one, b));
    return ends ? `M${placed(one, ends[0])}L${placed(one, ends[1])}` : "";
  };
  const face = (one, points, view) => {
    const ring = points.map((point) => seen(point, view));
    const kept = [];
    ring.forEach((q, n) => {
      const p = ring[(n + ring.length - 1) % ring.length];
      if (-p[2] < NEAR !== -q[2] < NEAR) kept.push(cutAt(p, q));
      if (-q[2] >= NEAR) kept.push(q);
    });
    if (kept.length < 3) return "";
    return `M${kept.map((p) => placed(one, screen(one, p))).join("L")}Z`;
  };

  const ground = (one, view) => {
    const [x, z, y] = [view.place[0], view.place[2], one.ground];
    if (view.place[1] <= y) return "";
    const corners = [[-1, -1], [1, -1], [1, 1], [-1, 1]];
    return face(one, corners.map(([a, b]) => [x + a * FAR, y, z + b * FAR]), view);
  };
  const grid = (one, k, view) => {
    const middle = at(one.figures[one.followed[k]].floor, k);
    const [cx, cz] = [Math.round(middle[0]), Math.round(middle[2])];
    const paths = ["", ""];
    for (let n = -REACH; n <= REACH; n += 1) {
      const [x, z, y] = [cx + n, cz + n, one.ground];
      const along = segment(one, [x, y, cz - REACH], [x, y, cz + REACH], view);
      const across = segment(one, [cx - REACH, y, z], [cx + REACH, y, z], view);
      paths[x % 5 === 0 ? 1 : 0] += along;
      paths[z % 5 === 0 ? 1 : 0] += across;
    }
    return paths;
  };
  const posts = (one, k) => {
    const middle = at(one.figures[one.followed[k]].floor, k);
    const round = (value) => 5 * Math.round(value / 5);
    const places = [];
    for (const a of [-10, -5, 0, 5, 10])
      for (const b of [-10, -5, 0, 5, 10])
        places.push([round(middle[0]) + a, one.ground, round(middle[2]) + b]);
    return places;
  };
  const floor = (one, view) =>
    one.floors.flatMap((ring) => ring.map(([x, z], n) => {
      const [x1, z1] = ring[(n + 1) % ring.length];
      return segment(one, [x, one.ground, z], [x1, one.ground, z1], view);
    })).join("");
  const rails = (one, view) =>
    one.rail.slice(1).reduce((path, q, n) => {
      const p = one.rail[n];
      const d = minus(q, p);
      const length = Math.hypot(d[0], d[2]) || 1;
      const side = [(-d[2] / length) * GAUGE, 0, (d[0] / length) * GAUGE];
      const on = (point, sign) => point.map((value, c) => value + sign * side[c]);
      let drawn = path;
      for (const sign of [-1, 1]) drawn += segment(one, on(p, sign), on(q, sign), view);
      const sleepers = Math.max(1, Math.round(length / 0.6));
      for (let s = 0; s < sleepers; s += 1) {
        const point = mixed(p, q, (s + 0.5) / sleepers);
        drawn += segment(one, on(point, -1.25), on(point, 1.25), view);
      }
      return drawn;
    }, "");

  // Edges of the set that are seen: those behind who is followed, and those before.
  const walls = (one, k, view) => {
    const paths = ["", ""];
    if (!one.built) return paths;
    const { edges, seen: shown, key } = one.built;
    const bits = shown[key[k]];
    const eyes = at(one.figures[one.followed[k]].eyes, k);
    const far = Math.hypot(...minus(eyes, view.place));
    for (let n = 0; 6 * n < edges.length; n += 1) {
      if (!((bits[n >> 3] >> (7 - (n & 7))) & 1)) continue;
      const [a, b] = [at(edges, 2 * n), at(edges, 2 * n + 1)];
      const near = Math.hypot(...minus(mixed(a, b, 0.5), view.place)) < far;
      paths[near ? 1 : 0] += segment(one, a, b, view);
    }
    return paths;
  };

  // The faces of a box that are turned to the lens: both pairs of sides, and the top.
  const boxFaces = (one, box, view) => {
    const [low, high] = [box.low, box.high];
    const sides = [0, 1, 2].map((c) => {
      if (view.place[c] > high[c]) return high[c];
      return view.place[c] < low[c] ? low[c] : null;
    });
    return sides.map((value, c) => {
      if (value === null) return "";
      const [a, b] = [(c + 1) % 3, (c + 2) % 3];
      const ring = [[low, low], [high, low], [high, high], [low, high]].map(([p, q]) => {
        const point = [0, 0, 0];
        [point[c], point[a], point[b]] = [value, p[a], q[b]];
        return point;
      });
      return face(one, ring, view);
    });
  };

  // Shares of stature: where a body's outline runs, and how wide it is there.
  const OUTLINE = [
    [0.46, 0.0], [0.03, 0.1], [0.0, 0.1], [0.0, 0.42], [0.04, 0.36], [0.27, 0.46], [0.47, 0.7],
    [0.53, 0.72], [0.61, 0.62], [0.73, 0.86], [0.79, 0.98], [0.815, 0.95], [0.836, 0.66],
    [0.85, 0.26], [0.875, 0.25],
  ];
  const [BREADTH, DEPTH] = [0.135, 0.075];
  const [HEAD_WIDE, HEAD_HIGH] = [0.05, 0.065];
  const ROUND = [...Array(24).keys()].map((n) => (2 * Math.PI * n) / 24);

  const body = (one, figure, k, view) => {
    const [foot, eyes] = [at(figure.floor, k), at(figure.eyes, k)];
    const angle = figure.facing[k];
    const d = minus(eyes, view.place);
    const level = Math.hypot(d[0], d[2]) || 1;
    const side = [-d[2] / level, 0, d[0] / level];
    const ahead = Number.isFinite(angle) ? [-Math.sin(angle), 0, -Math.cos(angle)] : null;
    const square = ahead ? dot(ahead, side) : 0; // 0: face or back, 1: profile
    const half = figure.height * Math.hypot(BREADTH * Math.sqrt(1 - square * square), DEPTH * square);
    const middle = one.body.eyes;
    const on = (fraction, across) =>
      [0, 1, 2].map((c) => foot[c] + ((eyes[c] - foot[c]) * fraction) / middle + side[c] * across);
    const rings = [
      [
        ...OUTLINE.map(([up, wide]) => on(up, wide * half)),
        ...OUTLINE.slice().reverse().map(([up, wide]) => on(up, -wide * half)),
      ],
      ROUND.map((a) =>
        on(middle + HEAD_HIGH * Math.sin(a), HEAD_WIDE * figure.height * Math.cos(a))),
    ].map((ring) => ring.map((point) => seen(point, view)));
    if (rings.flat().some((point) => -point[2] < NEAR)) return null;
    const path = rings.map((ring) => `M${ring.map((p) => placed(one, screen(one, p))).join("L")}Z`);
    const shape = {
      trunk: path[0],
      head: path[1],
      nose: "",
      line: "",
      front: false,
      crown: screen(one, seen(on(1, 0), view)),
      chin: screen(one, seen(on(one.body.chin, 0), view)),
    };
    if (!ahead) return shape;
    const h = figure.height;
    const right = [-ahead[2], 0, ahead[0]];
    const from = (up, out, across) =>
      on(up, 0).map((value, c) => value + h * (out * ahead[c] + across * right[c]));
    const [bridge, tip] = [from(0.945, 0.045, 0), from(0.918, 0.078, 0)];
    const [one_, two] = [from(0.915, 0.046, -0.015), from(0.915, 0.046, 0.015)];
    shape.nose = [[bridge, one_, tip], [bridge, two, tip], [one_, two, tip]]
      .map((ring) => face(one, ring, view)).join("");
    shape.front = dot(ahead, d) < 0;
    const wide = 0.7 * BREADTH;
    shape.line = segment(one, from(0.8, 0.02, -wide), from(0.8, 0.02, wide), view);
    return shape;
  };

  // Whether solid a is to be drawn before b: a wall between them has a on its far side.
  const isBehind = (a, b, eye) => {
    if (a.box || b.box)
      for (const c of [0, 1, 2]) {
        if (a.low[c] >= b.high[c] && eye[c] < a.low[c]) return true;
        if (a.high[c] <= b.low[c] && eye[c] > a.high[c]) return true;
        if (b.low[c] >= a.high[c] && eye[c] < b.low[c]) return false;
        if (b.high[c] <= a.low[c] && eye[c] > b.high[c]) return false;
      }
    return a.away > b.away;
  };
  const farFirst = (solids, eye) => {
    const left = solids.slice().sort((a, b) => b.away - a.away);
    const order = [];
    while (left.length) {
      let n = left.findIndex((a) => left.every((b) => a === b || !isBehind(b, a, eye)));
      if (n < 0) n = 0; // a ring of solids that hide one another: by distance
      order.push(...left.splice(n, 1));
    }
    return order;
  };
  const solidsOf = (one, k, view) => {
    const away = (point) => Math.hypot(...minus(point, view.place));
    const solids = one.boxes.map((box, n) => ({
      box: true, kind: "box", n, low: box.low, high: box.high,
      away: away(mixed(box.low, box.high, 0.5)),
    }));
    const upright = (kind, n, foot, top) => ({
      kind, n, foot, top, away: Math.hypot(foot[0] - view.place[0], foot[2] - view.place[2]),
      low: [0, 1, 2].map((c) => Math.min(foot[c], top[c])),
      high: [0, 1, 2].map((c) => Math.max(foot[c], top[c])),
    });
    one.figures.forEach((figure, n) => {
      solids.push(upright("figure", n, at(figure.floor, k), at(figure.eyes, k)));
    });
    posts(one, k).forEach((foot, n) => {
      solids.push(upright("post", n, foot, [foot[0], foot[1] + POST, foot[2]]));
    });
    return solids;
  };

  const node = (name, kind, parent) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    if (kind) made.setAttribute("class", kind);
    return parent.appendChild(made);
  };
  const told = (made, words) => {
    node("title", "", made).textContent = words;
    return made;
  };
  const set = (made, path) => {
    if (made.getAttribute("d") !== path) made.setAttribute("d", path);
  };

  // What draws the moments of takes into one element; `plain` leaves posts and point out.
  const picture = (host, { plain = false } = {}) => {
    let one = null;
    let parts = {};
    const use = (next) => {
      if (next === one) return;
      one = next;
      host.replaceChildren();
      host.setAttribute("viewBox", `0 0 ${WIDE} ${one.high.toFixed(1)}`);
      parts = {
        ground: node("path", "ground", host),
        fine: node("path", "grid", host),
        coarse: node("path", "grid coarse", host),
        floor: node("path", "floor_edge", host),
        rail: node("path", "rails", host),
        drops: node("path", "drop", host),
        walls: node("path", "built", host),
        solids: node("g", "", host),
        before: node("path", "built before", host),
      };
      parts.box = one.boxes.map((box) => {
        const made = told(node("g", "box", parts.solids), box.name);
        return { made, faces: ["x", "y", "z"].map((c) => node("path", `face_${c}`, made)) };
      });
      parts.figure = one.figures.map((figure) => {
        const made = told(node("g", `figure shade${figure.shade}`, parts.solids), figure.name);
        const [trunk, line] = ["trunk", "crease"].map((c) => node("path", c, made));
        return { made, trunk, line, head: node("path", "head", made), nose: node("path", "nose", made) };
      });
      parts.post = [...Array(plain ? 0 : 25).keys()].map(() => ({ made: node("path", "post", parts.solids) }));
      parts.marks = node("g", "marks", host);
      parts.point = node("circle", "point", host);
      parts.point.setAttribute("r", "9");
      parts.safe = node("path", "safe", parts.marks);
      parts.room = node("path", "room", parts.marks);
      parts.words = node("text", "room_words", parts.marks);
    };
    const drawFigure = (n, k, view) => {
      const { made, trunk, line, head, nose } = parts.figure[n];
      const shape = body(one, one.figures[n], k, view);
      made.setAttribute("visibility", shape ? "visible" : "hidden");
      if (!shape) return null;
      const followed = n === one.followed[k] && !one.hidden.has(k);
      made.classList.toggle("followed", followed && !plain);
      [[trunk, shape.trunk], [line, shape.line], [head, shape.head], [nose, shape.nose]]
        .forEach(([which, path]) => set(which, path));
      // A nose that points away lies behind the head, and is drawn before it.
      if (made.lastChild !== (shape.front ? nose : head)) made.append(shape.front ? nose : head);
      return shape;
    };
    const marks = (k, shape, { safe, headroom }) => {
      const place = (u, v) => placed(one, { u, v });
      const [s, c] = [one.safe, 0.06];
      const corners = [[-1, 1], [1, 1], [1, -1], [-1, -1]].map(
        ([a, b]) => `M${place(a * (s - c), b * s)}L${place(a * s, b * s)}L${place(a * s, b * (s - 2.4 * c))}`);
      set(parts.safe, safe ? corners.join("") : "");
      const known = headroom && shape && Math.abs(shape.crown.u) < 1 && Math.abs(shape.crown.v) < 2;
      if (!known) {
        set(parts.room, "");
        parts.words.textContent = "";
        return;
      }
      const { u, v } = shape.crown;
      const tick = 0.02;
      set(parts.room, `M${place(u, 1)}L${place(u, v)}M${place(u - tick, v)}L${place(u + tick, v)}`);
      const right = u > 0.6;
      const [x, y] = place(u + (right ? -tick : tick), Math.min(v, 0.8)).split(" ");
      parts.words.setAttribute("x", x);
      parts.words.setAttribute("y", String(Math.max(Number(y), 30)));
      parts.words.setAttribute("text-anchor", right ? "end" : "start");
      const share = 50 * (1 - v);
      parts.words.textContent = v > 1 ? "head cut" : `headroom ${share.toFixed(0)} %`;
    };
    const draw = (next, k, { shaken = true, safe = false, headroom = false } = {}) => {
      use(next);
      const view = one.camera(k, shaken);
      set(parts.ground, ground(one, view));
      const [fine, coarse] = grid(one, k, view);
      set(parts.fine, fine);
      set(parts.coarse, coarse);
      set(parts.floor, floor(one, view));
      set(parts.rail, rails(one, view));
      const [far, near] = walls(one, k, view);
      set(parts.walls, far);
      set(parts.before, near);
      let drops = "";
      let followed = null;
      const solids = solidsOf(one, k, view).filter((solid) => (!plain && !one.built) || solid.kind !== "post");
      const ordered = farFirst(solids, view.place);
      // Moving an element costs more than drawing it, and the order seldom changes.
      const order = ordered.map(({ kind, n }) => `${kind}${n}`).join();
      if (order !== parts.order)
        parts.solids.append(...ordered.map(({ kind, n }) => parts[kind][n].made));
      parts.order = order;
      ordered.forEach((solid) => {
        const { kind, n } = solid;
        if (kind === "box")
          boxFaces(one, one.boxes[n], view).forEach((path, c) => set(parts.box[n].faces[c], path));
        else if (kind === "post") set(parts.post[n].made, segment(one, solid.foot, solid.top, view));
        else {
          const shape = drawFigure(n, k, view);
          if (n === one.followed[k]) followed = shape;
          const [x, y, z] = solid.foot;
          if (Math.abs(y - one.ground) > 0.02) drops += segment(one, [x, y, z], [x, one.ground, z], view);
        }
      });
      set(parts.drops, drops);
      marks(k, followed, { safe, headroom });
      const point = seen(at(one.aimed, k), view);
      const shows = !plain && -point[2] > NEAR && !one.hidden.has(k);
      parts.point.setAttribute("visibility", shows ? "visible" : "hidden");
      if (!shows) return;
      const [cx, cy] = placed(one, screen(one, point)).split(" ");
      parts.point.setAttribute("cx", cx);
      parts.point.setAttribute("cy", cy);
    };
    return { draw };
  };

  return Object.freeze({ take, project, picture });
})();
