// On a narrow screen each section of the page is folded under its heading; a link into it opens it, and so does printing.
const parts = document.querySelectorAll(".method-text > section");
const open = (goal) => {
  for (let fold = goal?.querySelector(":scope > details") ?? goal; fold; fold = fold.parentElement?.closest("details")) {
    if (fold.matches("details")) fold.open = true;
  }
};
const goalOf = (hash) => hash.length > 1 ? document.getElementById(decodeURIComponent(hash.slice(1))) : null;

if (matchMedia("(max-width: 30rem)").matches) {
  for (const part of parts) {
    const heading = part.querySelector(":scope > h2");
    if (!heading) continue;
    const fold = document.createElement("details"), summary = document.createElement("summary");
    fold.className = "method-fold";
    const rest = [...part.childNodes].filter((node) => node !== heading);
    summary.append(heading);
    fold.append(summary, ...rest);
    part.append(fold);
  }
  open(goalOf(location.hash));
  goalOf(location.hash)?.scrollIntoView();
  addEventListener("hashchange", () => open(goalOf(location.hash)));
  document.addEventListener("click", (event) => {
    const link = event.target.closest('a[href^="#"]');
    if (link) open(goalOf(link.hash));
  }, true);
  addEventListener("beforeprint", () => { for (const part of parts) open(part); });
}
