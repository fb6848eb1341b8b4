// Decisions are made on this page and saved as a CSV file; nothing is sent anywhere.
const cards = [...document.querySelectorAll(".card")];
// The label that a file holds, by what a person picks or types: the plant's name, or the label itself.
const labels = new Map();
for (const { value, dataset } of document.querySelectorAll("#species option")) {
  labels.set(value.toLowerCase(), dataset.label).set(dataset.label, dataset.label);
}
const status = document.querySelector("output");
const button = document.querySelector("button");
let saved = true;

function decision(card) {
  const choice = card.querySelector("select").value;
  if (choice !== "other") return choice;
  const label = labels.get(card.querySelector("input").value.trim().toLowerCase());
  return label ? "relabel:" + label : null;
}

function refresh() {
  let made = 0, wrong = 0;
  for (const card of cards) {
    const other = card.querySelector("select").value === "other";
    const field = card.querySelector(".other");
    field.hidden = !other;
    const chosen = decision(card);
    const input = field.querySelector("input");
    const bad = chosen === null;
    input.setAttribute("aria-invalid", String(bad && input.value.trim() !== ""));
    card.classList.toggle("decided", Boolean(chosen));
    if (bad) wrong += 1; else if (chosen) made += 1;
  }
  button.disabled = wrong > 0;
  status.textContent = made + " of " + cards.length + " decided" +
    (wrong ? "; choose a species from the list for " + wrong + " more" : "");
}

function save() {
  const lines = cards.map((card) => {
    const chosen = decision(card);
    // Every line was prepared with the sheet; only the last cell is added here.
    return card.dataset.line + (/[",\n]/.test(chosen) ? '"' + chosen.replaceAll('"', '""') + '"' : chosen);
  });
  const text = document.body.dataset.head + "\n" + lines.join("\n") + "\n";
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
  link.download = document.body.dataset.file;
  link.click();
  saved = true;
}

document.addEventListener("input", () => { saved = false; refresh(); });
button.addEventListener("click", save);
addEventListener("beforeunload", (event) => { if (!saved) event.preventDefault(); });
refresh();
