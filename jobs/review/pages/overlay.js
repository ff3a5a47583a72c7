// Curves of two takes laid over each other, over the frames of both.
const overlays = (() => {
  const [WIDE, HIGH, LEFT, TOP, LOW] = [360, 150, 46, 10, 24];
  const make = (name, kind, parent) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    if (kind) made.setAttribute("class", kind);
    return parent.appendChild(made);
  };
  const roundStep = (least) => {
    const power = 10 ** Math.floor(Math.log10(least));
    return [1, 2, 5, 10].map((n) => n * power).find((step) => step >= least * (1 - 1e-9));
  };
  const extent = (lines) => {
    const known = lines.flatMap((line) => [...line.values].filter(Number.isFinite));
    if (!known.length) return [0, 1];
    const [low, high] = [Math.min(...known), Math.max(...known)];
    const spare = 0.06 * (high - low) || 0.5;
    return [low - spare, high + spare];
  };
  const tick = (svg, words, x, y, kind) => {
    const made = make("text", `label ${kind}`, svg);
    made.setAttribute("x", x);
    made.setAttribute("y", y);
    made.textContent = words;
  };
  // `lines`: values, first frame and class of each; returns what moves the playhead.
  const overlay = (host, title, lines, [first, last]) => {
    const figure = host.appendChild(document.createElement("figure"));
    const caption = figure.appendChild(document.createElement("figcaption"));
    caption.appendChild(document.createElement("b")).textContent = title;
    const svg = make("svg", "", figure);
    svg.setAttribute("viewBox", `0 0 ${WIDE} ${HIGH}`);
    svg.setAttribute("role", "img");
    svg.setAttribute("aria-label", `${title}, both takes over the frames ${first} to ${last}`);
    const [low, high] = extent(lines);
    const across = (frame) => LEFT + ((WIDE - LEFT - 8) * (frame - first)) / Math.max(last - first, 1);
    const up = (value) => HIGH - LOW - ((HIGH - LOW - TOP) * (value - low)) / (high - low);
    const step = roundStep((high - low) / 4);
    for (let n = Math.ceil(low / step); n * step <= high; n += 1) {
      const y = up(n * step);
      make("path", "faint", svg).setAttribute("d", `M${LEFT} ${y}H${WIDE - 8}`);
      tick(svg, String(Number((n * step).toPrecision(6))).replace("-", "\u2212"), LEFT - 6, y + 4, "end");
    }
    tick(svg, first, LEFT, HIGH - 6, "");
    tick(svg, last, WIDE - 8, HIGH - 6, "end");
    for (const line of lines) {
      let way = "";
      let pen = "M";
      line.values.forEach((value, k) => {
        if (!Number.isFinite(value)) {
          pen = "M";
          return;
        }
        way += `${pen}${across(line.first + k).toFixed(1)} ${up(value).toFixed(1)}`;
        pen = "L";
      });
      const drawn = make("path", line.kind, svg);
      drawn.setAttribute("d", way);
      drawn.setAttribute("fill", "none");
    }
    const head = make("path", "playhead", svg);
    return (frame) => {
      const x = across(frame).toFixed(1);
      head.setAttribute("d", `M${x} ${TOP}V${HIGH - LOW}`);
    };
  };
  return Object.freeze({ overlay });
})();
