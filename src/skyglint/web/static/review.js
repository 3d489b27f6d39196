// The review by keyboard: every key presses a button that is on the page, so that nothing is done here that it does not do.

const typing = (target) => target instanceof HTMLInputElement && target.type !== "hidden";

addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (typing(event.target)) {
    if (event.key === "Escape") event.target.blur();
    return;
  }
  if (event.key === "Enter" && event.target instanceof HTMLElement && event.target.matches("a, button")) return;
  const next = document.getElementById("judge")?.dataset.next;
  if (event.key === "ArrowRight" && next) location.assign(next);
  else if (event.key === "r") document.querySelector("[name=remark]")?.focus();
  else if (event.key === "Enter") document.querySelector("[data-agree]")?.click();
  else document.querySelector(`[data-key="${CSS.escape(event.key)}"]`)?.click();
  if (["ArrowRight", "r", "Enter"].includes(event.key)) event.preventDefault();
});
