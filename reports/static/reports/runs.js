// Renews the table of runs every five seconds while one is working. Nothing else on
// the page moves, so a reader keeps her place.
"use strict";

function renew() {
  const table = document.getElementById("runs");
  if (!table || !("busy" in table.dataset)) return;
  window.setTimeout(async () => {
    try {
      const answer = await fetch(window.location.href, { credentials: "same-origin" });
      if (answer.ok) {
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        const fresh = page.getElementById("runs");
        if (fresh) table.replaceWith(document.adoptNode(fresh));
      }
    } finally {
      renew();
    }
  }, 5000);
}

renew();
