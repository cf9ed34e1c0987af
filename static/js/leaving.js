// Signing out while something waits on this tablet would leave it behind for whoever comes next: it is refused in
// words, with a way out. Runs on every page that has the button, and makes no queue where there is none.

import { Queue } from "./bench-queue.js";

async function waiting() {
  const known = await indexedDB.databases?.();
  if (known && !known.some(({ name }) => name === "bench")) return [null, 0];
  const queue = new Queue({ changed() {} });
  const { waiting: left, refused } = await queue.counts();
  return [queue, left + refused];
}

function dialogOf(queue, left, form) {
  const dialog = document.createElement("dialog"), words = document.createElement("p"), head = document.createElement("h2"), row = document.createElement("p");
  dialog.className = "leaving";
  dialog.setAttribute("aria-labelledby", "leaving-head");
  head.id = "leaving-head";
  head.textContent = "Not signed out";
  words.textContent = `${left} ${left === 1 ? "thing waits" : "things wait"} on this tablet and ${left === 1 ? "is" : "are"} not on the server yet. Let the bench send ${left === 1 ? "it" : "them"}, or save the queue to a file that any signed-in computer can hand in; then sign out.`;
  row.className = "buttons";
  const make = (text, deed, strong = false) => { const button = Object.assign(document.createElement("button"), { type: "button", textContent: text, className: strong ? "strong" : "" }); button.addEventListener("click", deed); row.append(button); return button; };
  make("To the bench", () => { location.href = form.dataset.signOut; });
  const out = make("Sign out, the file is safe", () => { form.dataset.leaves = "yes"; form.requestSubmit(); });
  out.hidden = true;
  make("Save to a file", async () => {
    const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(await queue.toFile()), download: `bench-${new Date().toISOString().slice(0, 16).replace(":", "")}.json` });
    link.click();
    words.textContent = "The file is saved. What waits stays on this tablet too, and goes to the server when somebody signs in at the bench.";
    out.hidden = false;
  }, true);
  make("stay signed in", () => dialog.close());
  dialog.append(head, words, row);
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  return dialog;
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.matches("[data-sign-out]") || form.dataset.leaves) return;
  event.preventDefault();
  const [queue, left] = await waiting().catch(() => [null, 0]);
  if (left) return dialogOf(queue, left, form).showModal();
  form.dataset.leaves = "yes";
  return form.requestSubmit();
});
