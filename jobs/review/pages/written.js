// When this file was written: the page itself is the same for the same takes.
(() => {
  const when = new Date(document.lastModified);
  if (Number.isNaN(when.getTime()) || Date.now() - when < 2000) return;
  const day = when.toLocaleDateString("en-GB", { weekday: "long", day: "numeric", month: "long", year: "numeric" });
  const time = when.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
  const place = document.getElementById("written");
  place.textContent = `Last changed on ${day}, ${time}.`;
  place.hidden = false;
})();
