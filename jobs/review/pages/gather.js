(() => {
  const place = document.getElementById("decisions");
  if (!notes.kept) return;
  const by = (id) => document.getElementById(id);
  const { sequence } = place.dataset;
  const shots = JSON.parse(by("names").textContent);
  // Where a service sent the page, decisions can be saved there, beside the review.
  const served = location.protocol.startsWith("http");
  const show = () => {
    const words = notes.gathered(sequence, shots);
    const count = words.split("[[decisions]]").length - 1;
    by("gathered").value = words;
    by("gathered").rows = Math.min(Math.max(words.split("\n").length, 3), 24);
    by("count").textContent = count
      ? `${count} shot${count === 1 ? "" : "s"} decided in this browser.`
      : "Nothing is decided in this browser yet; each shot\u2019s page has a form.";
    for (const id of ["gathered", "copy", "save", "clear"]) by(id).hidden = !count;
    by("send").hidden = !(count && served);
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
  by("send").addEventListener("click", async () => {
    by("done").textContent = "Saving.";
    try {
      const reply = await fetch("notes", {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ notes: by("gathered").value }),
      });
      const told = await reply.json();
      by("done").textContent = reply.ok
        ? `Saved as ${told.saved}, ${told.decisions} shot${told.decisions === 1 ? "" : "s"} in all.`
        : `Not saved: ${told.detail}.`;
    } catch {
      by("done").textContent = "Not saved: the service does not answer.";
    }
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
