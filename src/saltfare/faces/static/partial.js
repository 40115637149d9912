// Three small layers over pages that work without them:
// forms with data-into fetch a fragment instead of a page (data-live: while typing);
// fields with data-echo show what was understood; forms with data-draft keep what is half filled in.

const status = () => document.getElementById("status");
const announce = (text) => { const at = status(); if (at) at.textContent = text; };

async function fragment(url, options) {
  const answer = await fetch(url, { ...options, headers: { "X-Partial": "1" } });
  if (!(answer.headers.get("content-type") || "").startsWith("text/html")) throw new Error(answer.statusText);
  return { html: await answer.text(), ok: answer.ok };
}

function put(target, html) {
  const parsed = new DOMParser().parseFromString(html, "text/html");
  target.replaceChildren(...parsed.body.childNodes);
  const said = target.querySelector("[data-announce]");
  if (said) announce(said.textContent.trim());
}

function address(form) {
  const url = new URL(form.action, location.href);
  url.search = new URLSearchParams(new FormData(form)).toString();
  return url;
}

let latest = 0;
async function refresh(form) {
  const target = document.getElementById(form.dataset.into);
  if (!target) return;
  const turn = ++latest;
  target.setAttribute("aria-busy", "true");
  try {
    const { html } = await fragment(address(form));
    if (turn === latest) put(target, html);
  } catch {
    if (turn === latest) announce(form.dataset.unreached || "");
  } finally {
    if (turn === latest) target.removeAttribute("aria-busy");
  }
}

const units = new WeakMap(); // the unit beside each field, before it is changed
const waiting = new WeakMap();
function later(key, run, wait) {
  clearTimeout(waiting.get(key));
  waiting.set(key, setTimeout(run, wait));
}

const turns = new WeakMap(); // of what a field was last read as: an answer that comes late is dropped
async function echo(field, was = "") {
  const at = document.getElementById(field.dataset.echo);
  if (!at) return;
  clearTimeout(waiting.get(field));
  const turn = (turns.get(field) || 0) + 1;
  turns.set(field, turn);
  if (!field.value.trim()) { at.replaceChildren(); return; }
  const unit = field.form.elements.namedItem(`${field.name}_unit`);
  const typed = field.value;
  const query = new URLSearchParams({ quantity: field.dataset.quantity, typed, unit: unit ? unit.value : "", was });
  let html = "";
  try { ({ html } = await fragment(`/understood?${query}`)); } catch { /* not reached: no echo */ }
  if (turns.get(field) !== turn) return;
  put(at, html);
  // the number goes along into the unit chosen beside it, unless something else was typed meanwhile
  const anew = at.querySelector("[data-anew]");
  if (anew && field.value === typed) { field.value = anew.dataset.anew; if (field.form.dataset.draft) keep(field.form); }
}

// drafts: what was typed, by form; never over what the server has put there
const kept = (form) => [...form.elements].filter((e) => e.name && !["hidden", "submit", "button", "file"].includes(e.type));
const initial = (e) => (e.type === "checkbox" || e.type === "radio" ? e.defaultChecked
  : e.tagName === "SELECT" ? [...e.options].findIndex((o) => o.defaultSelected) : e.defaultValue);
const now = (e) => (e.type === "checkbox" || e.type === "radio" ? e.checked : e.tagName === "SELECT" ? e.selectedIndex : e.value);
const store = {
  read(key) { try { return JSON.parse(localStorage.getItem(key) || "null"); } catch { return null; } },
  write(key, value) { try { localStorage.setItem(key, JSON.stringify(value)); } catch { /* storage is off: no drafts */ } },
  drop(key) { try { localStorage.removeItem(key); } catch { /* the same */ } },
};

function keep(form) {
  const values = {};
  kept(form).forEach((e, i) => { if (now(e) !== initial(e)) values[`${i}:${e.name}`] = now(e); });
  const key = `draft ${form.dataset.draft}`;
  if (Object.keys(values).length) store.write(key, values); else store.drop(key);
}

function restore(form) {
  const key = `draft ${form.dataset.draft}`;
  if (form.dataset.returned !== undefined) return false;
  const values = store.read(key);
  if (!values) return false;
  kept(form).forEach((e, i) => {
    const was = values[`${i}:${e.name}`];
    if (was === undefined) return;
    if (e.type === "checkbox" || e.type === "radio") e.checked = was;
    else if (e.tagName === "SELECT") e.selectedIndex = was;
    else e.value = was;
  });
  return true;
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  const by = event.submitter;
  if (form.dataset.into && !(by && by.hasAttribute("formaction"))) {
    event.preventDefault();
    refresh(form);
    return;
  }
  if (form.dataset.sent) { event.preventDefault(); return; } // a second tap while the first is under way
  form.dataset.sent = "1";
});

document.addEventListener("input", (event) => {
  const form = event.target.form;
  if (!form) return;
  if (form.dataset.draft) keep(form);
  if (event.target.dataset.echo) later(event.target, () => echo(event.target), 250);
  // a field inside the fragment is read when it is left, or the fragment would be replaced under the hand
  if (form.dataset.live !== undefined && !event.target.closest(`#${form.dataset.into}`)) later(form, () => refresh(form), 500);
});

document.addEventListener("change", (event) => {
  const form = event.target.form;
  if (form && form.dataset.live !== undefined && event.target.closest(`#${form.dataset.into}`)) refresh(form);
  const unitOf = event.target.dataset.unitOf;
  const field = unitOf && event.target.form.elements.namedItem(unitOf);
  if (field && field.dataset.echo) {
    echo(field, units.get(event.target) || "").then(() => { if (form.dataset.live !== undefined) later(form, () => refresh(form), 0); });
  }
  if (unitOf) units.set(event.target, event.target.value);
});

addEventListener("pageshow", () => {
  // a draft goes when the server says that it was kept, not when it was sent
  for (const said of document.querySelectorAll("[data-drops]")) store.drop(`draft ${said.dataset.drops}`);
  for (const form of document.forms) {
    delete form.dataset.sent;
    if (form.dataset.draft && restore(form) && form.dataset.live !== undefined) refresh(form);
    for (const unit of form.querySelectorAll("[data-unit-of]")) units.set(unit, unit.value);
    for (const field of form.elements) if (field.dataset.echo && field.value && !field.hasAttribute("aria-invalid")) echo(field);
  }
});

const summary = document.getElementById("errors");
if (summary) summary.focus();

// work under way: its fragment is asked for again until it says that it is done
async function follow(at) {
  if (!at.isConnected || !at.querySelector("[data-going]")) return;
  if (!at.contains(document.activeElement)) {
    try { put(at, (await fragment(at.dataset.follow)).html); } catch { /* asked again */ }
  }
  setTimeout(() => follow(at), 2000);
}
for (const at of document.querySelectorAll("[data-follow]")) setTimeout(() => follow(at), 1500);
