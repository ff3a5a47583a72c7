// Decisions are kept in this browser, a record a shot, until they go into the job.
const notes = (() => {
  const PREFIX = "carrellata/notes/";
  const key = (sequence, shot) => `${PREFIX}${sequence}/${shot}`;
  const store = (() => {
    try {
      localStorage.setItem(`${PREFIX}probe`, "1");
      localStorage.removeItem(`${PREFIX}probe`);
      return localStorage;
    } catch {
      return null;
    }
  })();
  const read = (sequence, shot) => {
    const said = store && store.getItem(key(sequence, shot));
    return said ? JSON.parse(said) : {};
  };
  const isEmpty = (note) =>
    !(note.approve || note.lock || note.unlock || note.size || note.lens || note.intent || note.note
      || (note.accept || []).length);
  const write = (sequence, shot, note) => {
    if (isEmpty(note)) store.removeItem(key(sequence, shot));
    else store.setItem(key(sequence, shot), JSON.stringify(note));
  };
  const text = (value) => JSON.stringify(value).replaceAll("\x7f", "\\u007f");
  const block = (shot, note) => {
    const lines = ["", "[[decisions]]", `shot = ${text(shot)}`];
    if (note.take) lines.push(`take_key = ${text(note.take)}`);
    if (note.by) lines.push(`by = ${text(note.by)}`);
    if (note.approve) lines.push("approve = true");
    if (note.lock) lines.push("lock = true");
    if (note.unlock) lines.push("lock = false");
    if (note.size) lines.push(`size = ${text(note.size)}`);
    if (note.lens) lines.push(`lens_mm = ${note.lens}`);
    if (note.intent) lines.push(`intent = ${text(note.intent)}`);
    if (note.note) lines.push(`note = ${text(note.note)}`);
    const rows = (note.accept || []).map(
      (one) => `{ finding = ${text(one.finding)}, reason = ${text(one.reason)}, by = ${text(note.by || "review")} }`);
    if (rows.length) lines.push(`accept = [${rows.join(", ")}]`);
    return lines.join("\n");
  };
  // All decisions of a sequence as the file that `carrellata decide` takes.
  const gathered = (sequence, shots) => {
    const blocks = shots
      .map((shot) => [shot, read(sequence, shot)])
      .filter(([, note]) => !isEmpty(note))
      .map(([shot, note]) => block(shot, note));
    if (!blocks.length) return "";
    const head = `schema = "carrellata.notes/1"\nsequence = ${text(sequence)}\n`;
    return `${head}${blocks.join("\n")}\n`;
  };
  const BY = "carrellata/by";
  return Object.freeze({
    kept: Boolean(store), read, write, gathered, isEmpty,
    by: () => (store && store.getItem(BY)) || "",
    sign: (name) => store.setItem(BY, name),
    clear: (sequence, shots) => shots.forEach((shot) => store.removeItem(key(sequence, shot))),
  });
})();
