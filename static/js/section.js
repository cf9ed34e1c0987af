// One touch between the image with its classes and the bare image; one choice for every section on the page.
document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-classes]");
  if (!button) return;
  const shown = button.getAttribute("aria-pressed") === "true";
  for (const other of document.querySelectorAll("[data-classes]")) {
    other.setAttribute("aria-pressed", String(!shown));
    other.textContent = shown ? "image only" : "classes shown";
  }
  for (const section of document.querySelectorAll(".section")) section.classList.toggle("bare", shown);
});
