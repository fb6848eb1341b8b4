/* Runs once on each page, in the piece of HTML that gradio gives us: `element`, `props`, `server` and `upload`.
   A button with data-do tells the server what to do, with the fields of its form, and the next page is shown. */
const find = (selector) => element.querySelector(selector);
const plantShown = () => find("[data-plant]")?.dataset || {};
let stepShown = "", questionShown = "", release, refresh;

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
const call = async (what, begin) => {
  if (document.body.dataset.busy) return false;
  document.body.dataset.busy = "1";
  say(what);
  const line = setInterval(() => server.waiting(0).then((count) => {
    if (count) say(count === 1 ? "1 person is waiting." : `${count} people are waiting.`);
    else if (/ waiting\.$/.test(find(".looking")?.textContent)) say(what || "It is your turn.");
  }, () => {}), 1500);
  try {
    const answer = await begin();
    if (answer.page) await show(answer.page);
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
  if (answer.page && !next) show(answer.page);
  else refresh = setTimeout(poll, 1000);
};
const message = (rest) => ({ address: location.search, plant: plantShown().plant || "", ...rest });

const press = async (button) => {
  const form = button.closest("form"), kept = form && nameOf(form), fields = {};
  if (form) for (const [name, value] of new FormData(form)) (fields[name] ||= []).push(String(value));
  if (button.dataset.state) fields.state = [button.dataset.state];
  const sent = message({ do: button.dataset.do, with: button.dataset.with || "", fields });
  const done = await call(button.dataset.saying || "", () => server.press(sent));
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
  });
  field.value = "";
};

// What is half filled in stays in this tab, through a reload and through a mistake, until its button has done its work.
const nameOf = (form) => {
  const page = plantShown(), button = form.querySelector("[data-do]")?.dataset;
  const where = page.plant ? `${page.plant} ${page.step}` : location.search;
  return `sk ${location.pathname} ${where} ${button?.do} ${button?.with || ""}`;
};
const keep = (event) => {
  const form = event.target.closest("form");
  if (form) sessionStorage.setItem(nameOf(form), JSON.stringify([...new FormData(form)]));
};
const fillIn = (form) => {
  const kept = JSON.parse(sessionStorage.getItem(nameOf(form)) || "null");
  if (!kept) return;
  for (const field of form.elements) {
    const values = kept.filter(([name]) => name === field.name).map(([, value]) => value);
    if (field.type === "radio" || field.type === "checkbox") field.checked = values.includes(field.value);
    else if (field.name && field.type !== "hidden" && values.length) field.value = values[0];
  }
};

// A ruler in the logarithm of its figure.
const ruler = (range) => {
  const text = document.getElementById(range.dataset.for), low = Math.log(range.dataset.low);
  const span = Math.log(range.dataset.high) - low;
  return {
    read: () => {
      const value = Math.exp(low + (range.value / 100) * span);
      text.value = String(Number(value.toFixed("whole" in range.dataset || value >= 20 ? 0 : value >= 2 ? 1 : 2)));
    },
    set: () => {
      const value = Number(text.value.replace(",", "."));
      if (value > 0) range.value = (100 * (Math.log(value) - low)) / span;
    },
  };
};
const slide = (event) => {
  const range = find("input[type=range]");
  if (event.target === range) ruler(range).read();
  else if (event.target.id === range?.dataset.for) ruler(range).set();
};

// A text as it stands into the clipboard; plain HTTP has only the old way.
const copy = async (button) => {
  const field = document.getElementById(button.dataset.copy);
  field.select();
  const done = await navigator.clipboard?.writeText(field.value).then(() => true, () => false);
  const told = done || document.execCommand("copy") ? "Copied." : "The text is selected: copy it from here.";
  button.parentElement.querySelector(".copied").textContent = told;
};

const show = async (page) => {
  find(".warning")?.remove();
  props.value = page;
  await new Promise((shown) => setTimeout(shown));
  for (const form of element.querySelectorAll("form")) {
    form.reset();
    fillIn(form);
  }
  element.querySelectorAll("input[type=range]").forEach((range) => ruler(range).set());
  const place = find("[data-place]")?.dataset, { plant, step, kept } = plantShown();
  const query = place ? place.address && `?${place.address}` : kept === "yes" ? `?plant=${plant}&step=${step}` : location.search;
  const question = find(".ask h1")?.textContent || "";
  const moved = stepShown && (stepShown !== step || questionShown !== question);
  if (location.search !== query)
    history[stepShown && stepShown !== step ? "pushState" : "replaceState"](null, "", location.pathname + query);
  [stepShown, questionShown] = [step || "", question];
  if (moved) {
    // The second tap of two quick ones was meant for the question before.
    document.body.dataset.busy = "new";
    clearTimeout(release);
    release = setTimeout(() => delete document.body.dataset.busy, 300);
  }
  const notice = find(place ? ".notice, .told-so" : ".notice");
  // What had the focus may be gone with the page before.
  if (notice) notice.scrollIntoView({ block: "center" });
  else if (moved || (step && document.activeElement === document.body && questionShown)) {
    window.scrollTo(0, 0);
    find("h1[tabindex]")?.focus({ preventScroll: true });
  }
  clearTimeout(refresh);
  if (find("[data-running]")) refresh = setTimeout(poll, 1000);
};

element.addEventListener("click", (event) => {
  const other = event.target.closest("button[data-copy], button[data-larger], button[data-close]");
  if (other?.dataset.copy) copy(other);
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
element.addEventListener("input", slide);
element.addEventListener("input", keep);
element.addEventListener("change", (event) => (event.target.type === "file" ? event.target.files.length && sendFiles(event.target) : keep(event)));
window.addEventListener("popstate", () => {
  stepShown = "";
  open();
});
open();
