/* Runs once on each page, in the piece of HTML that gradio gives us: `element`, `props`, `server` and `upload`.
   A button with data-do tells the server what to do, with the fields of its form, and the next page is shown. */
const find = (selector) => element.querySelector(selector);
const plantShown = () => find("[data-plant]")?.dataset || {};
let stepShown = "", headingShown = "", release, refresh;

// What goes on, above the work; and what went wrong, below it.
const say = (text) => element.querySelectorAll(".looking").forEach((line) => (line.textContent = text));
const warn = (text) => {
  const line = find(".warning") || element.appendChild(document.createElement("p"));
  line.className = "sk notice warning";
  line.setAttribute("role", "alert");
  line.textContent = text;
  line.scrollIntoView({ block: "center" });
};

// One call to the server at a time; how many people wait is said once it takes longer than a moment.
const call = async (what, begin, pressed) => {
  if (document.body.dataset.busy) return false;
  document.body.dataset.busy = "1";
  say(what);
  const line = setInterval(() => server.waiting(0).then((count) => {
    if (count) say(count === 1 ? "1 person is waiting." : `${count} people are waiting.`);
    else if (/ waiting\.$/.test(find(".looking")?.textContent)) say(what || "It is your turn.");
  }, () => {}), 1500);
  try {
    const answer = await begin();
    if (answer.page) await show(answer.page, pressed);
    else warn(answer.refused);
    return Boolean(answer.page);
  } catch (error) {
    const refused = /^HTTP \d+: (.+)/.exec(error.message);
    warn(refused ? refused[1] : "swardkey is not responding. Check that it is still running, then try again; what you saved is safe.");
    return false;
  } finally {
    clearInterval(line);
    if (document.body.dataset.busy === "1") delete document.body.dataset.busy;
    say("");
  }
};
const open = () => call("", () => server.open_page(location.search));
// While something is running, the page is asked for again and again, quietly.
const poll = async () => {
  const answer = document.body.dataset.busy ? {} : await server.open_page(location.search).catch(() => ({}));
  const shown = find("[data-progress]"), page = answer.page && new DOMParser().parseFromString(answer.page, "text/html");
  const next = page?.querySelector("[data-progress]");
  // What a person types or unfolds meanwhile stays.
  if (shown && next) shown.replaceWith(next);
  if (answer.page && !next) show(answer.page, null);
  else refresh = setTimeout(poll, 1000);
};
const message = (rest) => ({ address: location.search, plant: plantShown().plant || "", ...rest });

const press = async (button) => {
  const form = button.closest("form"), kept = form && nameOf(form), fields = {};
  if (form) for (const [name, value] of new FormData(form)) (fields[name] ||= []).push(String(value));
  for (const name of ["state", "reading"]) if (name in button.dataset) fields[name] = [button.dataset[name]];
  const sent = message({ do: button.dataset.do, with: button.dataset.with || "", fields });
  const done = await call(button.dataset.saying || "", () => server.press(sent), button);
  if (done && kept && !find("[role=alert]")) sessionStorage.removeItem(kept);
};

// Files are sent under a name that no one can guess, so that the same photo of two people is in two places.
const isOdd = (file, accept) => !accept.split(/, */).some((kind) =>
  kind.endsWith("/*") ? file.type.startsWith(kind.slice(0, -1)) : file.name.toLowerCase().endsWith(kind));
const ticket = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");
const sendFiles = async (field) => {
  const files = [...field.files], large = files.find((file) => file.size > 25e6);
  if (large) warn(`${large.name}: is over 25 MB; export it smaller, and choose again.`);
  else if (files.every((file) => isOdd(file, field.accept)))
    warn(`${files[0].name}: is not one of ${field.accept.replace("image/*", "photos")}; choose another file.`);
  else await call("Checking your files…", async () => {
    const sent = [];
    for (const file of files) {
      const { path } = await upload(new File([file], `${ticket()}.bin`));
      sent.push({ path, name: file.name });
    }
    return server.press(message({ do: field.dataset.do, files: sent }));
  }, field);
  field.value = "";
};

// What is half filled in stays in this tab, through a reload and through a mistake, until its button has done its work.
const nameOf = (form) => {
  const page = plantShown(), button = form.querySelector("[data-do]")?.dataset;
  const where = page.plant ? `${page.plant} ${page.step}` : location.search;
  return `sk ${location.pathname} ${where} ${button?.do} ${button?.with || ""}`;
};
// Only what was changed, so that what somebody else saves meanwhile shows beside it.
const isChanged = (field) => field.options ? field.value !== (field.querySelector("[selected]") || field.options[0])?.value
  : /radio|checkbox/.test(field.type) ? field.checked !== field.defaultChecked : field.value !== field.defaultValue;
const keep = (event) => {
  const form = event.target.closest("form");
  if (!form) return;
  const values = new FormData(form), names = [...form.elements].filter((field) => field.name && isChanged(field)).map((field) => field.name);
  sessionStorage.setItem(nameOf(form), JSON.stringify(Object.fromEntries(names.map((name) => [name, values.getAll(name)]))));
};
const fillIn = (form) => {
  const kept = JSON.parse(sessionStorage.getItem(nameOf(form)) || "null");
  if (!kept) return;
  for (const field of form.elements) {
    const values = kept[field.name];
    if (values && /radio|checkbox/.test(field.type)) field.checked = values.includes(field.value);
    else if (values?.length && field.type !== "hidden") field.value = values[0];
  }
};

// A text as it stands into the clipboard; plain HTTP has only the old way.
const copy = async (button) => {
  const field = document.getElementById(button.dataset.copy);
  field.select();
  const done = await navigator.clipboard?.writeText(field.value).then(() => true, () => false);
  const told = done || document.execCommand("copy") ? "Copied." : "The text is selected: copy it from here.";
  button.parentElement.querySelector(".copied").textContent = told;
};

// A paper, or a page to tap with its message, to whoever the phone can hand it to.
const share = async ({ share: address, title, message }) => {
  const answer = await fetch(address), page = address.endsWith(".html");
  const file = page ? ["questions.html", { type: "text/html" }] : ["lawn.pdf", { type: "application/pdf" }];
  const text = message && document.getElementById(message).value;
  await navigator.share({ title, ...(text && { text }), files: [new File([await answer.blob()], ...file)] }).catch((error) => error.name === "AbortError" || warn("This browser cannot share the file; save it instead."));
};
const canShare = () => Boolean(navigator.canShare?.({ files: [new File([], "lawn.pdf", { type: "application/pdf" })] }));

// What a press did is said in an alert, else in a status; found by what was not there before it.
const told = () => [...element.querySelectorAll("[role=alert], [role=status]")].filter((line) => line.innerText.trim());
const outcome = (before) => {
  const fresh = told().filter((line) => !before.has(line.innerText));
  return fresh.find((line) => line.matches("[role=alert]")) || fresh[0];
};
const sameAs = (pressed) => [...element.querySelectorAll("[data-do]")].find((other) =>
  other.dataset.do === pressed?.dataset.do && other.dataset.with === pressed.dataset.with);
// A notice from the head of the page comes to the button that it is about; what has no place there is gone to.
const lookAt = (line, button) => {
  const row = button && (button.closest(".acts, .signing, .inline, .upload") || button);
  if (row && line.matches(".notice, .told-so") && !find("#work")?.contains(line)) row.before(line);
  line.tabIndex = -1;
  line.focus({ preventScroll: true });
  line.scrollIntoView({ block: line.offsetHeight < innerHeight / 2 ? "center" : "start" });
};
const stayAt = (button, height) => {
  if (!button) return;
  scrollBy(0, button.getBoundingClientRect().top - height);
  button.focus({ preventScroll: true });
};

const show = async (page, pressed) => {
  find(".warning")?.remove();
  const before = new Set(told().map((line) => line.innerText)), height = pressed?.getBoundingClientRect().top;
  const folds = () => [...element.querySelectorAll("details")], nameOfFold = (fold) => fold.querySelector("summary").innerText;
  const unfolded = new Set(folds().filter((fold) => fold.open).map(nameOfFold));
  props.value = page;
  await new Promise((shown) => setTimeout(shown));
  remember();
  for (const form of element.querySelectorAll("form")) {
    form.reset();
    fillIn(form);
  }
  const place = find("[data-place]")?.dataset, { plant, step, kept } = plantShown();
  const query = place ? place.address && `?${place.address}` : kept === "yes" ? `?plant=${plant}&step=${step}` : location.search;
  const heading = find("h1[tabindex]"), title = heading?.textContent || "";
  const elsewhere = stepShown && stepShown !== step, moved = headingShown && (elsewhere || headingShown !== title);
  if (location.search !== query) {
    // Back leads to the step before, also where that was blank and had no address yet.
    if (elsewhere && kept === "yes" && !location.search.includes(plant)) history.replaceState(null, "", `?plant=${plant}&step=${stepShown}`);
    history[elsewhere ? "pushState" : "replaceState"](null, "", location.pathname + query);
  }
  [stepShown, headingShown] = [step || "", title];
  document.title = title ? `${title} · swardkey` : "swardkey";
  if (moved) {
    // The second tap of two quick ones was meant for the question before.
    document.body.dataset.busy = "new";
    clearTimeout(release);
    release = setTimeout(() => delete document.body.dataset.busy, 300);
  } else for (const fold of folds()) fold.open ||= unfolded.has(nameOfFold(fold));
  const button = moved ? null : sameAs(pressed);
  const line = pressed && !moved ? outcome(before) : pressed !== null && find(".notice");
  if (line) lookAt(line, button);
  else if (moved || (pressed && !button && find(".ask"))) {
    scrollTo(0, 0);
    heading?.focus({ preventScroll: true });
  } else if (pressed) stayAt(button, height);
  find("[data-first]")?.focus();
  element.querySelectorAll("[data-shares]").forEach((way) => (way.hidden = !canShare()));
  clearTimeout(refresh);
  if (find("[data-running]")) refresh = setTimeout(poll, 1000);
};

// The plants that were begun in this browser and are not saved as a visit: only here, so nobody else is shown them.
const remember = () => {
  const { plant, step, called, at, photo } = plantShown();
  try {
    const begun = JSON.parse(localStorage.getItem("sk begun") || "[]").filter((one) => one.plant !== plant);
    if (called) begun.unshift({ plant, step, called, at, photo, on: Date.now() });
    if (plant) localStorage.setItem("sk begun", JSON.stringify(begun.slice(0, 3)));
    const list = find(".unfinished ul");
    for (const one of list ? begun : []) {
      const link = list.appendChild(document.createElement("li")).appendChild(document.createElement("a"));
      link.href = `/?plant=${one.plant}&step=${one.step}`;
      if (one.photo) Object.assign(link.appendChild(new Image()), { src: `/photo/${one.plant}/${one.photo}`, alt: "" });
      const words = link.appendChild(document.createElement("span"));
      words.append(Object.assign(document.createElement("b"), { textContent: one.called }));
      const day = new Date(one.on).toLocaleDateString("en-AU", { day: "numeric", month: "long" });
      words.append(Object.assign(document.createElement("small"), { textContent: `${one.at}, ${day}` }));
      list.parentElement.hidden = false;
    }
  } catch { /* A browser that keeps nothing has no list. */ }
};

element.addEventListener("click", (event) => {
  const jump = event.target.closest(".lacking a");
  if (jump) {
    event.preventDefault();
    document.getElementById(jump.hash.slice(1))?.focus();
  }
  const other = event.target.closest("button[data-copy], button[data-share], button[data-larger], button[data-close]");
  if (other?.dataset.copy) copy(other);
  else if (other?.dataset.share) share(other.dataset);
  else if (other?.dataset.larger) document.getElementById(other.dataset.larger).showModal();
  else if (other || event.target.matches("dialog")) event.target.closest("dialog").close();
  const button = event.target.closest("button[data-do]");
  if (!button || button.disabled) return;
  event.preventDefault();
  press(button);
});
// A form with an address of its own asks for a file, and the page stays.
element.addEventListener("submit", (event) => event.target.hasAttribute("action") || event.preventDefault());
element.addEventListener("keydown", (event) => {
  const typed = "form:not([action]) input:not([type=radio]):not([type=checkbox])";
  if (event.key !== "Enter" || !event.target.matches(typed)) return;
  event.preventDefault();
  const main = event.target.closest("form").querySelector("button.main");
  if (main) press(main);
});
element.addEventListener("input", keep);
element.addEventListener("change", (event) => (event.target.type === "file" ? event.target.files.length && sendFiles(event.target) : keep(event)));
window.addEventListener("popstate", async () => {
  // Back counts at any moment: the address has changed already.
  while (document.body.dataset.busy) await new Promise((later) => setTimeout(later, 50));
  stepShown = headingShown = "";
  open();
});
open();
