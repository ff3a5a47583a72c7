(() => {
  const place = document.getElementById("decisions");
  if (!notes.kept) return;
  const by = (id) => document.getElementById(id);
  const { sequence } = place.dataset;
  const shots = JSON.parse(by("names").textContent);
  const show = () => {
    const words = notes.gathered(sequence, shots);
    const count = words.split("[[decisions]]").length - 1;
    by("gathered").value = words;
    by("gathered").rows = Math.min(Math.max(words.split("\n").length, 3), 24);
    by("count").textContent = count
      ? `${count} shot${count === 1 ? "" : "s"} decided in this browser.`
      : "Nothing is decided in this browser yet; each shot\u2019s page has a form.";
    for (const id of ["gathered", "copy", "save", "clear"]) by(id).hidden = !count;
  };
  by("copy").addEventListener("click", () => {
    by("gathered").select();
    document.execCommand("copy");
    by("done").textContent = "Copied.";
  });
  by("save").addEventListener("click", () => {
    const link = document.createElement("a");
    link.download = "notes.toml";
    link.href = URL.createObjectURL(new Blob([by("gathered").value], { type: "application/toml" }));
    link.click();
    by("done").textContent = "Saved as notes.toml.";
  });
  by("clear").addEventListener("click", () => {
    notes.clear(sequence, shots);
    by("done").textContent = "Cleared.";
    show();
  });
  addEventListener("pageshow", show);
  place.hidden = false;
  show();
})();
