/* Runs once for each area of ours. Any button with data-do tells the server what to do, with its form's fields. */
const send = (button) => {
  if (document.body.dataset.busy) return;
  const form = button.closest("form"), fields = {};
  if (form) for (const [name, value] of new FormData(form)) (fields[name] = fields[name] || []).push(String(value));
  if (button.dataset.state) fields.state = [button.dataset.state];
  document.body.dataset.busy = "1";
  window.skSent = form ? nameOf(form) : "";
  clearTimeout(window.skBusy);
  window.skBusy = setTimeout(() => delete document.body.dataset.busy, 20000);
  trigger("act", { do: button.dataset.do, with: button.dataset.with || "", fields });
};
// What is half filled in stays in this tab, through a reload and through a mistake, until its button has done its work.
const nameOf = (form) => {
  const page = document.querySelector("[data-plant]")?.dataset, button = form.querySelector("[data-do]")?.dataset;
  return `sk ${location.pathname} ${page ? `${page.plant} ${page.step}` : location.search} ${button?.do} ${button?.with || ""}`;
};
const note = (event) => {
  const form = event.target.form || event.target.closest("form");
  if (form) sessionStorage.setItem(nameOf(form), JSON.stringify([...new FormData(form)]));
};
element.addEventListener("input", note);
element.addEventListener("change", note);
const fillIn = () => {
  if (window.skSent && !document.querySelector("[role=alert]")) sessionStorage.removeItem(window.skSent);
  window.skSent = "";
  for (const form of document.querySelectorAll(".area form")) {
    const kept = JSON.parse(sessionStorage.getItem(nameOf(form)) || "null");
    if (!kept) continue;
    for (const field of form.elements) {
      const values = kept.filter(([name]) => name === field.name).map(([, value]) => value);
      if (field.type === "radio" || field.type === "checkbox") field.checked = values.includes(field.value);
      else if (field.name && field.type !== "hidden" && values.length) field.value = values[0];
    }
  }
  for (const range of document.querySelectorAll("input[type=range]")) slide(range, document.getElementById(range.dataset.for)).set();
};
// A text as it stands into the clipboard; plain HTTP has only the old way.
const copy = async (button) => {
  const field = document.getElementById(button.dataset.copy), told = button.parentElement.querySelector(".copied");
  field.select();
  const done = await navigator.clipboard?.writeText(field.value).then(() => true, () => false);
  told.textContent = done || document.execCommand("copy") ? "Copied." : "It is marked: copy it from here.";
};
element.addEventListener("click", (event) => {
  const other = event.target.closest("button[data-copy], button[data-larger], button[data-close]");
  if (other?.dataset.copy) copy(other);
  else if (other?.dataset.larger) document.getElementById(other.dataset.larger).showModal();
  else if (other || event.target.matches("dialog")) event.target.closest("dialog").close();
  const button = event.target.closest("button[data-do]");
  if (!button || button.disabled) return;
  event.preventDefault();
  send(button);
});
// A form with an address of its own asks for a file, and the page stays.
element.addEventListener("submit", (event) => event.target.hasAttribute("action") || event.preventDefault());
element.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !event.target.matches("form:not([action]) input:not([type=radio]):not([type=checkbox])")) return;
  event.preventDefault();
  const main = event.target.closest("form")?.querySelector("button.main");
  if (main) send(main);
});
const slide = (range, text) => {
  const low = Math.log(range.dataset.low), high = Math.log(range.dataset.high), whole = "whole" in range.dataset;
  return {
    read: () => {
      const value = Math.exp(low + (range.value / 100) * (high - low));
      const digits = whole || value >= 20 ? 0 : value >= 2 ? 1 : 2;
      text.value = String(Number(value.toFixed(digits)));
    },
    set: () => {
      const value = Number(text.value.replace(",", "."));
      if (value > 0) range.value = (100 * (Math.log(value) - low)) / (high - low);
    },
  };
};
element.addEventListener("input", (event) => {
  const range = element.querySelector("input[type=range]");
  if (!range) return;
  const text = document.getElementById(range.dataset.for);
  if (event.target === range) slide(range, text).read();
  else if (event.target === text) slide(range, text).set();
});
const settle = () => {
  if (document.body.dataset.busy !== "new") delete document.body.dataset.busy;
  document.getElementById("told")?.remove();
  delete document.body.dataset.told;
  window.skSay("");
  for (const form of element.querySelectorAll("form")) form.reset();
  cancelAnimationFrame(window.skFill);
  window.skFill = requestAnimationFrame(fillIn);  // once both areas are there
  const place = element.querySelector("[data-place]");
  if (place) {
    const query = place.dataset.address ? `?${place.dataset.address}` : "";
    if (location.search !== query) history.replaceState(null, "", place.dataset.place + query);
    const notice = element.querySelector(".notice, .told-so");
    if (notice) requestAnimationFrame(() => notice.scrollIntoView({ block: "center" }));
  }
  const frame = element.querySelector("[data-plant]");
  if (!frame) return;
  const { plant, step, kept } = frame.dataset;
  if (kept === "yes") {
    const address = `?plant=${plant}&step=${step}`;
    if (location.search !== address)
      history[window.skStep && window.skStep !== step ? "pushState" : "replaceState"](null, "", address);
  }
  const question = document.querySelector(".ask h1")?.textContent || "";
  const moved = window.skStep && (window.skStep !== step || window.skQuestion !== question);
  window.skStep = step;
  window.skQuestion = question;
  if (moved) {
    // The second tap of two quick ones was meant for the question before.
    document.body.dataset.busy = "new";
    clearTimeout(window.skBusy);
    window.skBusy = setTimeout(() => document.body.dataset.busy === "new" && delete document.body.dataset.busy, 300);
  }
  window.skMoved ||= moved;
  const notice = element.querySelector(".notice");
  requestAnimationFrame(() => {
    // What had the focus may be gone with the page before.
    const lost = window.skMoved && document.activeElement === document.body;
    if (notice) notice.scrollIntoView({ block: "center" });
    else if (moved || lost) {
      window.scrollTo(0, 0);
      document.querySelector("h1[tabindex]")?.focus({ preventScroll: true });
    }
  });
};
watch("value", settle);
settle();
if (!window.skBack) {
  window.skBack = true;
  // Files are sent by gradio: say that they are being looked at until the next page comes.
  document.addEventListener("change", (event) => {
    if (event.target.type !== "file" || !event.target.files.length) return;
    document.body.dataset.busy = "files";
    window.skSay("Looking at what you chose…");
    clearTimeout(window.skBusy);
    window.skBusy = setTimeout(settle, 60000);
  });
  window.addEventListener("popstate", () => location.reload());
}
