// Keys of the work list: j and k walk the households, Enter opens one, x chooses it,
// / goes to the search, ? shows the list of keys. Nothing happens inside a field or
// with a modifier held, and without this module the page does all the same by mouse and Tab.
const rows = [...document.querySelectorAll("#worklist tr[data-row]")];
const help = document.getElementById("keys");
let at = -1;

function go(to) {
  if (!rows.length) return;
  rows[at]?.classList.remove("here");
  at = Math.max(0, Math.min(rows.length - 1, to));
  rows[at].classList.add("here");
  const link = rows[at].querySelector("th a");
  link?.focus({ preventScroll: true });
  rows[at].scrollIntoView({ block: "nearest" });
}

const acts = {
  j: () => go(at + 1),
  k: () => go(at - 1),
  x: () => {
    const box = rows[at]?.querySelector('input[type="checkbox"]');
    if (box) box.checked = !box.checked;
  },
  "/": () => document.getElementById("q")?.focus(),
  "?": () => {
    if (!help) return;
    help.open = !help.open;
    help.scrollIntoView({ block: "nearest" });
  },
};

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target.closest("input:not([type=checkbox]), select, textarea")) return;
  if (event.key === "Enter" && at >= 0 && !event.target.closest("a, button, summary, input")) {
    rows[at].querySelector("th a")?.click();
    return;
  }
  const act = acts[event.key];
  if (!act) return;
  event.preventDefault();
  act();
});

document.addEventListener("focusin", (event) => {
  const row = event.target.closest("#worklist tr[data-row]");
  if (row && rows.indexOf(row) !== at) {
    rows[at]?.classList.remove("here");
    at = rows.indexOf(row);
    row.classList.add("here");
  }
});
