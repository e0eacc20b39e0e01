// Keeps what is typed on this device until the sheet is saved, so that a reload, a flat battery or a sign-in that ran
// out loses nothing. The server judges and draws; nothing here decides anything.

const form = document.getElementById("fit-up");
if (form) keep(form);

// As on the site's pages (3 Dec 2026, 16:58) and by the plant's clock, whatever the browser's language and place.
function momentWords(moment, timeZone) {
  const options = {
    day: "numeric",
    month: "short",
    year: "numeric",
    hour: "2-digit",
    minute: "2-digit",
    hourCycle: "h23",
    timeZone,
  };
  const parts = new Intl.DateTimeFormat("en-US", options).formatToParts(new Date(moment));
  const part = Object.fromEntries(parts.map(({ type, value }) => [type, value]));
  return `${part.day} ${part.month} ${part.year}, ${part.hour}:${part.minute}`;
}

function keep(form) {
  const key = form.dataset.key;
  const note = document.getElementById("kept-words");
  const boxes = [...form.elements].filter((box) => box.name && box.type !== "hidden" && box.tagName !== "BUTTON");
  const valueOf = (box) => (box.type === "checkbox" ? box.checked : box.value);
  const saved = Object.fromEntries(boxes.map((box) => [box.name, valueOf(box)]));

  function read() {
    try {
      return JSON.parse(localStorage.getItem(key));
    } catch {
      return null; // storage is shut off or holds something else: the page works without it
    }
  }

  function write(draft) {
    try {
      if (draft) localStorage.setItem(key, JSON.stringify(draft));
      else localStorage.removeItem(key);
    } catch {
      // full or shut off
    }
  }

  function keepNow(isSent) {
    const version = form.elements.version.value;
    write({
      at: new Date().toISOString(),
      version,
      isSent,
      clientKey: form.elements.client_key.value,
      values: Object.fromEntries(boxes.map((box) => [box.name, valueOf(box)])),
    });
  }

  function bringBack() {
    const draft = read();
    if (!draft) return;
    // A page that shows what was refused has the text already; one that shows a newer sheet after sending has it saved.
    const wasSaved = draft.isSent && Number(form.dataset.version) > Number(draft.version || 0);
    if (form.dataset.state === "refused") return;
    const differs = boxes.some((box) => box.name in draft.values && draft.values[box.name] !== saved[box.name]);
    if (wasSaved || !differs) {
      write(null);
      return;
    }
    for (const box of boxes) {
      if (!(box.name in draft.values)) continue;
      if (box.type === "checkbox") box.checked = draft.values[box.name];
      else box.value = draft.values[box.name];
    }
    // With the version that it was typed on, the server can tell when somebody else saved meanwhile.
    // What was typed before there was a sheet was typed on version 0.
    form.elements.version.value = draft.version || "0";
    form.elements.client_key.value = draft.clientKey;
    const words = note.querySelector("b");
    words.textContent = `Kept on this device and not saved yet, typed ${momentWords(draft.at, form.dataset.zone)}.`;
    note.hidden = false;
    const live = document.getElementById("fit-up-live");
    if (window.htmx) window.htmx.trigger(live, "refresh");
    else window.addEventListener("load", () => window.htmx?.trigger(live, "refresh"));
  }

  form.addEventListener("input", () => keepNow(false));
  form.addEventListener("submit", () => keepNow(true));
  document.getElementById("kept-drop").addEventListener("click", () => {
    write(null);
    window.location.reload();
  });
  bringBack();
}
