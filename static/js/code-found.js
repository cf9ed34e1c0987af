// Where a code is looked for, one that was read off a label is looked for at once.
document.addEventListener("reads-code", (event) => { if (event.target.dataset.finds !== undefined) event.target.form.requestSubmit(); });
