// Small manners that a page cannot have without a script. Everything works without this file.
document.documentElement.classList.add("js");

const LOST = "The server does not answer. What you typed is still here; start Lodeworth again and type on.";

function tell(words) {
  const box = document.getElementById("lost");
  if (!box) return;
  box.textContent = words;
  box.hidden = words === "";
}

// An answer to older figures must not reach the page once something newer was typed.
document.addEventListener("input", (event) => {
  event.target.closest("form[hx-post]")?.dispatchEvent(new CustomEvent("htmx:abort"));
});

// A field inside a folded group opens it, so that a link to it can go there.
document.addEventListener("click", (event) => {
  const link = event.target.closest('a[href^="#"]');
  const goal = link && document.getElementById(decodeURIComponent(link.hash.slice(1)));
  if (!goal) return;
  for (let fold = goal.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  const field = goal.matches("input, select, textarea, a, button") ? goal : goal.querySelector("input, select, textarea");
  if (field) {
    event.preventDefault();
    field.focus();
    field.scrollIntoView({ block: "center" });
  }
});

document.addEventListener("htmx:error", () => tell(LOST));
document.addEventListener("htmx:response:error", (event) => {
  const status = event.detail.ctx.response.status;
  if (status === 403) tell("This page has been open for too long to be trusted. Copy what matters and reload the page.");
  else if (status === 413) tell("That is more than a quote can hold (256 kB). Shorten what you typed.");
  else if (status >= 500) tell("Something went wrong here. What you typed is still on the page; change anything to try again.");
});
document.addEventListener("htmx:after:request", (event) => {
  const status = event.detail.ctx.response.status;
  if (status < 400 || status === 422) tell("");
});
