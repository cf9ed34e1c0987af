// A stretch dragged over a pattern is looked at: the form with the stretch is filled and sent. Without this the same
// two numbers can be typed.

const form = document.querySelector("form[data-stretch]");

document.addEventListener("figure:brush", ({ detail, target }) => {
  if (!form || detail.low === null || !target.closest(".fitted")) return;
  form.elements.low.value = detail.low.toFixed(2);
  form.elements.high.value = detail.high.toFixed(2);
  form.requestSubmit();
});
