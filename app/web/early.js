/* Stands in the head of every page, before anything of gradio. */
document.documentElement.lang = "en-AU";
addEventListener("DOMContentLoaded", () => {
  const light = () => document.body.classList.remove("dark");
  new MutationObserver(light).observe(document.body, { attributes: true, attributeFilter: ["class"] });
  light();
});
// What goes on, above the work; before the first page is there, at the top.
window.skSay = (text) => document.querySelectorAll(".looking").forEach((told) => (told.textContent = text));
window.skTell = (text) => {
  delete document.body.dataset.busy;
  document.body.dataset.told = "1";
  window.skSay("");
  const told = document.getElementById("told") || document.createElement("p");
  told.id = "told";
  told.setAttribute("role", "alert");
  told.textContent = text;
  (document.querySelector(".sk") || document.body).append(told);
  told.scrollIntoView({ block: "center" });
};
// A file that is chosen before the server has answered with the page would be lost: it waits until that is there.
const isOdd = (file, accept) => !accept.split(/, */).some((kind) =>
  kind.endsWith("/*") ? file.type.startsWith(kind.slice(0, -1)) : file.name.toLowerCase().endsWith(kind));
const isThere = () => document.querySelector("[data-plant], [data-place]");
addEventListener("change", (event) => {
  const field = event.target, files = field.files;
  if (field.type !== "file" || !files.length) return;
  const large = [...files].find((file) => file.size > 25e6);
  if (large) {
    event.stopImmediatePropagation();
    window.skTell(`${large.name}: is over 25 MB; export it smaller, and choose again.`);
    return;
  }
  if (field.accept && [...files].every((file) => isOdd(file, field.accept))) {
    event.stopImmediatePropagation();
    window.skTell(`${files[0].name}: is not one of ${field.accept.replace("image/*", "photos")}; choose another file.`);
    return;
  }
  if (isThere()) return;
  event.stopImmediatePropagation();
  const wait = new MutationObserver(() => {
    if (!isThere()) return;
    wait.disconnect();
    const now = field.isConnected ? field : document.querySelector("input[type=file]");
    if (now !== field) now.files = files;
    now.dispatchEvent(new Event("change", { bubbles: true }));
  });
  wait.observe(document.body, { childList: true, subtree: true });
}, true);
// How long the line is, and why something could not be sent: gradio keeps both to itself.
const follow = async (answer) => {
  const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
  for (let rest = ""; ; ) {
    const { value, done } = await reader.read();
    if (done) return;
    const parts = (rest + value).split("\n\n");
    rest = parts.pop();
    for (const part of parts) {
      if (part.length < 2000 && /"success":false/.test(part)) window.skTell("A fault of the program; what was kept is not lost. Load this page again.");
      if (!/^data: \{[^{[]*"msg":"(estimation|process_starts)"/.test(part)) continue;
      const before = JSON.parse(part.slice(6)).rank || 0;
      if (before) window.skSay(before === 1 ? "1 person is before you." : `${before} people are before you.`);
      else if (/ before you\.$/.test(document.querySelector(".looking")?.textContent)) window.skSay("It is your turn.");
    }
  }
};
const fetched = window.fetch;
window.fetch = async (...given) => {
  const address = String(given[0].url || given[0]), sends = /\/(queue\/join|upload)(\?|$)/.test(address);
  try {
    const answer = await fetched(...given);
    if (sends && answer.status === 503) window.skTell("Too many people are waiting just now. Try again in a minute; nothing is lost.");
    else if (sends && !answer.ok) answer.clone().text().then(window.skTell);
    else if (/\/queue\/data\?/.test(address) && answer.ok) follow(answer.clone()).catch(() => {});
    return answer;
  } catch (error) {
    if (sends && error.name !== "AbortError") window.skTell("swardkey does not answer. See whether it still runs, then load this page again; what was kept is not lost.");
    throw error;
  }
};
