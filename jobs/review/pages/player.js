// Plays frames by the clock, and acts on keys at once. A frame that comes too late is
// left out, so time never drifts.
const players = (() => {
  // `ready(k)` holds the clock while it is false. `next(k, to)` says what comes when `to`
  // is due: null for just that, another frame to jump to, undefined for the end, `last(k)`.
  const player = ({
    count, rate, show, changed, ready = () => true, next = () => null, last = () => count - 1,
  }) => {
    const [perMany, seconds] = rate;
    let current = 0;
    let from = null;
    let [drawn, late] = [0, 0];
    const go = (k) => {
      current = Math.min(Math.max(k, 0), count - 1);
      show(current);
    };
    const stop = () => {
      if (from === null) return;
      from = null;
      changed(false);
    };
    const tick = (now) => {
      if (from === null) return;
      if (from.time === null || !ready(current)) from = { frame: current, time: now };
      const k = from.frame + Math.floor(((now - from.time) * perMany) / (1000 * seconds));
      if (k > current) {
        const end = next(current, k);
        if (end === undefined) {
          go(last(current));
          stop();
          return;
        }
        late += end === null ? k - current - 1 : 0;
        drawn += 1;
        if (end === null) go(k);
        else {
          go(end);
          from = { frame: end, time: now };
        }
      }
      requestAnimationFrame(tick);
    };
    const play = () => {
      if (from !== null) {
        stop();
        return;
      }
      if (current >= count - 1) go(next(current, count) || 0);
      from = { frame: current, time: null };
      changed(true);
      requestAnimationFrame(tick);
    };
    return {
      play,
      stop,
      go: (k) => {
        go(k);
        if (from !== null) from = { frame: current, time: null };
      },
      step: (way) => {
        stop();
        go(current + way);
      },
      at: () => current,
      playing: () => from !== null,
      tally: () => ({ drawn, late }),
    };
  };

  // Keys act wherever the reader is, but in a field, and with a key held for the browser.
  const FIELDS = "input:not([type=range]):not([type=checkbox]), textarea, select";
  const keys = (acts, seen) => {
    document.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey || event.defaultPrevented) return;
      if (event.target.closest(FIELDS) || !seen()) return;
      const own = event.target.closest("button, summary, input:not([type=range])");
      if (own && event.key === " ") return;
      const slides = event.target.closest("input[type=range]");
      if (slides && event.key !== " " && !event.shiftKey) return;
      const act = acts[event.shiftKey ? `Shift+${event.key}` : event.key];
      if (!act) return;
      event.preventDefault();
      act();
    });
  };
  const inSight = (element) => {
    const box = element.getBoundingClientRect();
    return box.bottom > 0.3 * box.height && box.top < innerHeight - 0.3 * box.height;
  };
  // What every page that plays has: buttons, the slider, the switches of the picture, and
  // keys that do the same. `ends()` are the frames of Home and End, `slid` reads the slider.
  const by = (id) => document.getElementById(id);
  const SWITCHES = ["shake", "safe", "headroom"];
  const switches = () => {
    const on = (id) => Boolean(by(id) && by(id).checked);
    return { shaken: !by("shake") || on("shake"), safe: on("safe"), headroom: on("headroom") };
  };
  const panel = (one, { seen, tell, ends, slid, redraw, more = {} }) => {
    const act = (move) => () => {
      move();
      tell();
    };
    const step = (way) => act(() => one.step(way));
    const acts = {
      " ": one.play,
      ArrowLeft: step(-1),
      ArrowRight: step(1),
      "Shift+ArrowLeft": step(-10),
      "Shift+ArrowRight": step(10),
      Home: act(() => one.go(ends()[0])),
      End: act(() => one.go(ends()[1])),
      ...more,
    };
    keys(acts, () => inSight(by(seen)));
    by("play").addEventListener("click", one.play);
    by("back").addEventListener("click", step(-1));
    by("forth").addEventListener("click", step(1));
    by("scrub").addEventListener("input", () => {
      one.stop();
      one.go(slid(Number(by("scrub").value)));
    });
    SWITCHES.filter(by).forEach((id) => by(id).addEventListener("change", redraw));
    by("controls").hidden = false;
    by("still").hidden = true;
  };
  const plays = (playing) => {
    by("play").textContent = playing ? "Pause" : "Play";
  };
  return Object.freeze({ player, panel, plays, switches });
})();
