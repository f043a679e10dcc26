// A button that was pressed counts once; coming back to the page lets it be pressed again.

addEventListener("pageshow", () => {
  for (const button of document.querySelectorAll("button[aria-busy]")) button.removeAttribute("aria-busy");
});
