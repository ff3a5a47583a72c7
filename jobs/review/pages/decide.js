(() => {
  const form = document.getElementById("decide");
  if (!form || !notes.kept) return;
  const { sequence, shot, take } = form.dataset;
  const field = (name) => form.querySelector(`[data-field="${name}"]`);
  const reasons = [...form.querySelectorAll("[data-finding]")];
  const gather = () => {
    const on = (name) => Boolean(field(name) && field(name).checked);
    const said = (name) => field(name).value.trim();
    const note = {
      take, by: said("by"), approve: on("approve"), lock: on("lock"), unlock: on("unlock"),
      size: said("size"), lens: Number(said("lens")) || 0, intent: said("intent"), note: said("note"),
      accept: reasons
        .map((one) => ({ finding: one.dataset.finding, reason: one.value.trim() }))
        .filter((one) => one.reason),
    };
    notes.write(sequence, shot, note);
    notes.sign(note.by);
    show();
  };
  const show = () => {
    const words = notes.gathered(sequence, [shot]);
    document.getElementById("kept").textContent = words
      ? "Kept in this browser; the index gathers the notes of all shots."
      : "Nothing decided yet.";
    document.getElementById("notes").textContent = words;
    document.getElementById("notes").hidden = !words;
  };
  const known = notes.read(sequence, shot);
  // What was decided of another take does not hold of this one.
  const stale = Boolean(known.take) && known.take !== take;
  if (stale) document.getElementById("stale").hidden = false;
  for (const name of ["approve", "lock", "unlock"])
    if (field(name)) field(name).checked = Boolean(known[name]) && !stale;
  for (const name of ["size", "lens", "intent", "note"]) field(name).value = known[name] || "";
  field("by").value = known.by || notes.by();
  for (const one of known.accept || []) {
    const own = reasons.find((each) => each.dataset.finding === one.finding);
    if (own) own.value = one.reason;
  }
  form.addEventListener("input", gather);
  form.addEventListener("submit", (event) => event.preventDefault());
  form.hidden = false;
  show();
})();
