// The survey while it is filled in: what is still missing, and a draft on this device, so that a reload loses nothing.
// Nothing here decides anything: without it the page works the same. Photographs are not kept; they are sent with the
// form.

const form = document.getElementById("survey");
const saved = document.querySelector("[data-saved-survey]");
const NOT_KEPT = new Set(["csrfmiddlewaretoken", "version", "client_key"]);
const key = (pk) => `driftbook-survey-${pk}`;

if (saved) forget(saved.dataset.savedSurvey, Number(saved.dataset.version));
if (form) start();

// Once the server has a later version than the draft was begun on, the draft is in the book.
function forget(pk, version) {
  const draft = draftOf(pk);
  if (draft && draft.version < version) localStorage.removeItem(key(pk));
}

function draftOf(pk) {
  try {
    return JSON.parse(localStorage.getItem(key(pk)));
  } catch {
    return null; // no storage on this device, or a text that is not ours
  }
}

function start() {
  const pk = form.dataset.survey;
  const version = Number(form.elements.version.value);
  const kept = document.getElementById("kept");

  function keep() {
    const values = {};
    for (const [name, value] of new FormData(form))
      if (typeof value === "string" && !NOT_KEPT.has(name)) values[name] = value;
    try {
      localStorage.setItem(key(pk), JSON.stringify({ version, values }));
    } catch {
      // A full storage must not stop anybody from typing.
    }
  }

  function restore() {
    const draft = draftOf(pk);
    if (!draft || draft.version !== version || document.getElementById("errors")) return;
    let changed = false;
    for (const [name, value] of Object.entries(draft.values)) {
      const box = form.elements[name];
      if (!box || box.value === value) continue;
      box.value = value; // a group of radios takes the value of the one to tick
      changed = true;
    }
    kept.hidden = !changed;
  }

  function refresh() {
    let missing = 0;
    for (const line of document.querySelectorAll("[data-names]")) {
      const filled = line.dataset.names.split(" ").filter((name) => {
        const value = form.elements[name]?.value ?? "";
        return value !== "" && value !== "not_tested";
      });
      line.hidden = filled.length >= Number(line.dataset.least);
      if (!line.hidden) missing += 1;
    }
    document.getElementById("n-missing").textContent = String(missing);
  }

  form.addEventListener("input", () => {
    keep();
    refresh();
  });
  document.getElementById("drop").addEventListener("click", () => {
    localStorage.removeItem(key(pk));
    location.reload();
  });
  let isSent = false;
  form.addEventListener("submit", (event) => {
    if (isSent) event.preventDefault();
    isSent = true;
  });
  window.addEventListener("pageshow", () => {
    isSent = false;
    refresh();
  });
  restore();
  refresh();
}
