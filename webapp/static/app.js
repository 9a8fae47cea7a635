// Small manners that a page cannot have without a script. Everything works without this file.
document.documentElement.classList.add("js");

const LOST = "The server does not answer. What you typed is still here; start Lodeworth again and type on.";
const HOUSEKEEPING = new Set(["token", "seen", "writer"]);
const quoteForm = () => document.querySelector("#quote-form, #sheet-form");

function tell(words) {
  if (words) document.getElementById("brief")?.classList.remove("waiting");
  const box = document.getElementById("lost");
  if (!box) return;
  box.textContent = words;
  box.hidden = words === "";
}

// What this tab remembers; a browser that keeps nothing loses only the manners.
function remembered(key) {
  try { return JSON.parse(sessionStorage.getItem(key)); } catch { return null; }
}
function remember(key, value) {
  try { value === null ? sessionStorage.removeItem(key) : sessionStorage.setItem(key, JSON.stringify(value)); } catch { /* full or forbidden */ }
}

// What was typed last is kept also if the page is left before it was sent.
const texts = () => [...new FormData(quoteForm())].filter(([name, text]) => typeof text === "string" && !HOUSEKEEPING.has(name));
const solid = (entries) => entries.filter(([, text]) => text !== "").map(String);
const unsentKey = () => `unsent ${location.pathname}`;
let unsent = false;
let edits = 0;
let sentEdits = 0;
let sent = []; // with the newest request
let answered = []; // with the newest that was answered

function leave() {
  const form = quoteForm();
  if (!unsent || gone || !form) return;
  unsent = false;
  remember(unsentKey(), { bases: [answered, sent], typed: texts(), writer: form.elements.writer?.value });
  fetch(`${form.action}/kept`, { method: "POST", body: new URLSearchParams(new FormData(form)), keepalive: true }).catch(() => {});
}
for (const event of ["beforeunload", "pagehide"]) addEventListener(event, leave);
document.addEventListener("visibilitychange", () => document.visibilityState === "hidden" && leave());

// A button of the form sends all of it and leaves: sent once more beside that, it would undo what the button did.
let gone = false;
addEventListener("submit", (event) => { gone ||= event.target === quoteForm() && !event.defaultPrevented; });
addEventListener("pageshow", () => { gone = false; });

// The page may have been asked for before that reached the server: what is missing from it is then typed again. Where the
// page does not show what this tab sent last, something newer is kept, and stays.
function typeAgain() {
  const left = remembered(unsentKey());
  remember(unsentKey(), null);
  const form = quoteForm();
  if (!left || !form) return;
  const shown = solid(texts());
  const isBase = (base) => solid(base).every((entry) => shown.includes(entry));
  if (!left.bases.some(isBase) || solid(left.typed).join("\n") === shown.join("\n")) return;
  const turn = {};
  for (const [name, text] of left.typed) {
    const fields = [...form.elements].filter((field) => field.name === name);
    const radio = fields.find((field) => field.type === "radio" && field.value === text);
    const field = radio || fields[(turn[name] = (turn[name] ?? -1) + 1)];
    if (radio) radio.checked = true;
    else if (field) field.value = text;
  }
  if (left.writer) form.elements.writer.value = left.writer;
  form.dispatchEvent(new Event("input", { bubbles: true }));
}

// Folds stay as they were put.
const foldsKey = () => `folds ${location.pathname}`;
function foldAgain() {
  for (const [id, open] of Object.entries(remembered(foldsKey()) ?? {})) {
    const fold = document.getElementById(id);
    if (fold && (open || !fold.querySelector(".problem"))) fold.open = open;
  }
}
document.addEventListener("click", (event) => {
  const fold = event.target.closest("summary")?.parentElement;
  if (fold?.id && quoteForm()) remember(foldsKey(), { ...remembered(foldsKey()), [fold.id]: !fold.open });
});

// An answer to older figures must not reach the page once something newer was typed.
document.addEventListener("input", (event) => {
  const form = event.target.closest("form[hx-post]");
  if (!form) return;
  unsent = true;
  edits += 1;
  document.getElementById("brief")?.classList.add("waiting"); // until the answer takes its place
  form.dispatchEvent(new CustomEvent("htmx:abort"));
});

// A field inside a folded group opens it, so that a link to it can go there; a link to the form goes where one was.
let last = null;
document.addEventListener("focusin", (event) => {
  if (event.target.matches("#quote-form :is(input, select)")) last = event.target;
});
document.addEventListener("click", (event) => {
  const link = event.target.closest('a[href^="#"]');
  const goal = link && document.getElementById(decodeURIComponent(link.hash.slice(1)));
  if (!goal) return;
  for (let fold = goal.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  const inner = "input:not([type=hidden]), select, textarea";
  const field = goal === quoteForm() ? (last?.isConnected ? last : null) : goal.matches(`${inner}, a, button`) ? goal : goal.querySelector(inner);
  if (field) {
    event.preventDefault();
    field.focus();
    field.scrollIntoView({ block: "center" });
  }
});

// What is chosen or entered beside the answer goes with the form, and the page stays where it is.
document.addEventListener("submit", (event) => {
  const form = event.target, by = event.submitter, box = document.getElementById("they-say");
  const said = box?.value.trim();
  if (form.id !== "quote-form" || by?.hasAttribute("formaction") || !(by?.name === "use" || by?.name === "say" || said)) return;
  event.preventDefault();
  const put = (name, value) => form.append(Object.assign(document.createElement("input"), { type: "hidden", name, value }));
  if (by?.name === "use") put("use", by.value);
  else if (said) { put("they_say", said); put("say", "1"); box.value = ""; }
  else return;
  form.dispatchEvent(new Event("input", { bubbles: true }));
});

const isOfForm = (event) => event.detail.ctx.sourceElement === quoteForm(); // a working that opens sends nothing typed
document.addEventListener("htmx:before:request", (event) => {
  if (!quoteForm() || !isOfForm(event)) return;
  if (gone) return event.preventDefault();
  sent = texts();
  sentEdits = edits;
});
document.addEventListener("htmx:error", () => { unsent = true; tell(LOST); });
document.addEventListener("htmx:response:error", (event) => {
  const status = event.detail.ctx.response.status;
  if (status === 403) tell("This page has been open for too long to be trusted. Copy what matters and reload the page.");
  else if (status === 413) tell("That is more than a quote can hold (256 kB). Shorten what you typed.");
  else if (status >= 500) tell("Something went wrong here. What you typed is still on the page; change anything to try again.");
});
document.addEventListener("htmx:after:request", (event) => {
  const status = event.detail.ctx.response.status;
  if (status >= 400 && status !== 422) return;
  tell("");
  if (!isOfForm(event)) return;
  answered = sent;
  if (edits > sentEdits) return;
  unsent = false;
  remember(unsentKey(), null);
});

if (quoteForm()) {
  foldAgain();
  sent = answered = texts();
  addEventListener("load", typeAgain); // htmx listens by then
}
