(() => {
  const by = (id) => document.getElementById(id);
  if (!by("viewfinder-data")) return;
  const one = pictures.take(JSON.parse(by("viewfinder-data").textContent));
  const { count, first } = one;
  const [perMany, seconds] = one.rate;
  const picture = pictures.picture(by("viewfinder"));
  // What runs along in the curves and in the plan.
  const make = (name, kind, parent) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    made.setAttribute("class", kind);
    return parent.appendChild(made);
  };
  const curves = [...document.querySelectorAll("g.timed")].map((group) => {
    const [left, right, top, bottom] = group.dataset.box.split(" ").map(Number);
    return { group, left, right, top, bottom, head: make("path", "playhead", group) };
  });
  const whole = ((count - 1) * seconds) / perMany;
  const plan = by("plan");
  const pixels = Number(plan.dataset.pixelsPerMetre);
  const [left, top] = plan.dataset.origin.split(" ").map(Number);
  const now = {
    rays: make("path", "now_view", plan),
    camera: make("path", "now_camera", plan),
    people: one.figures.map((figure) => make("circle", `now_person shade${figure.shade}`, plan)),
  };
  now.people.forEach((circle) => circle.setAttribute("r", "4"));
  const onPlan = ([x, , z]) => [left + pixels * x, top + pixels * z];
  const floorOf = (n, k) => [0, 1, 2].map((c) => one.figures[n].floor[3 * k + c]);
  const runAlong = (k) => {
    const share = whole > 0 ? (k * seconds) / perMany / whole : 0;
    for (const curve of curves) {
      const x = (curve.left + share * (curve.right - curve.left)).toFixed(2);
      curve.head.setAttribute("d", `M${x} ${curve.top}V${curve.bottom}`);
    }
    const { place, axes } = one.camera(k, false);
    const [x, y] = onPlan(place);
    const back = axes[2];
    const level = Math.hypot(back[0], back[2]) || 1;
    const [ax, ay] = [-back[0] / level, -back[2] / level];
    const [fx, fy] = onPlan(floorOf(one.followed[k], k));
    const away = Math.hypot(fx - x, fy - y);
    const depth = Math.max((fx - x) * ax + (fy - y) * ay, 0.3 * away);
    const corner = (forth, side) =>
      `${(x + forth * ax - side * ay).toFixed(1)} ${(y + forth * ay + side * ax).toFixed(1)}`;
    const wide = depth * one.tan_u;
    now.rays.setAttribute("d", `M${corner(depth, -wide)}L${corner(0, 0)}L${corner(depth, wide)}Z`);
    now.camera.setAttribute("d", `M${corner(0, 0)}L${corner(13, 7)}L${corner(13, -7)}Z`);
    now.people.forEach((circle, n) => {
      const [cx, cy] = onPlan(floorOf(n, k));
      circle.setAttribute("cx", cx.toFixed(1));
      circle.setAttribute("cy", cy.toFixed(1));
    });
  };

  const say = () => {
    by("said").textContent = `${player.playing() ? "Playing" : "Stopped"} at ${by("now").textContent}`;
  };
  const draw = () => picture.draw(one, player.at(), players.switches());
  const player = players.player({
    count,
    rate: one.rate,
    show: (k) => {
      picture.draw(one, k, players.switches());
      runAlong(k);
      by("scrub").value = first + k;
      const lost = one.hidden.has(k) ? ", subject hidden" : "";
      by("now").textContent = `frame ${first + k}, ${((k * seconds) / perMany).toFixed(2)} s${lost}`;
    },
    changed: (playing) => {
      players.plays(playing);
      say();
    },
    next: (k, to) => {
      if (to < count) return null;
      return by("again").checked ? 0 : undefined;
    },
  });
  const go = (k) => {
    player.stop();
    player.go(k);
    say();
  };
  players.panel(player, {
    seen: "viewfinder", tell: say, redraw: draw, ends: () => [0, count - 1], slid: (value) => value - first,
  });
  for (const curve of curves) {
    const svg = curve.group.ownerSVGElement;
    svg.classList.add("clickable");
    svg.addEventListener("click", (event) => {
      const point = new DOMPoint(event.clientX, event.clientY);
      const { x } = point.matrixTransform(curve.group.getScreenCTM().inverse());
      const share = (x - curve.left) / (curve.right - curve.left);
      go(Math.round((Math.min(Math.max(share, 0), 1) * whole * perMany) / seconds));
    });
  }
  const stills = [...document.querySelectorAll(".printed .poster")];
  addEventListener("beforeprint", () => stills.forEach((still, n) => {
    pictures.picture(still, { plain: true }).draw(one, Math.round((n * (count - 1)) / 2));
  }));
  const follow = () => {
    const asked = /^#f(\d+)$/.exec(location.hash);
    if (!asked) return false;
    player.stop();
    player.go(Number(asked[1]) - first);
    by("viewfinder").scrollIntoView({ block: "nearest" });
    return true;
  };
  addEventListener("hashchange", follow);
  if (!follow()) player.go(0);
  window.viewfinder = Object.freeze({
    project: (frame, shaken = false) => pictures.project(one, frame - first, shaken),
    show: (frame) => player.go(frame - first),
    frame: () => first + player.at(),
    playing: player.playing,
  });
})();
