// Small helps for the pages; every page works without them.

// A key by itself does what the element that carries it shows, while no box has the focus.
const typing = (element) =>
  element && /^(INPUT|TEXTAREA|SELECT)$/.test(element.tagName) && !/^(checkbox|radio)$/.test(element.type);

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.defaultPrevented) return;
  if (event.key === "Escape" && typing(document.activeElement)) {
    document.activeElement.blur();
    return;
  }
  if (typing(event.target)) return;
  const found = [...document.querySelectorAll("[data-key]")].find((one) => one.dataset.key === event.key);
  if (!found) return;
  event.preventDefault();
  if (found.tagName === "DETAILS") {
    found.open = true;
    const first = found.querySelector("input:not([type=hidden]), select, textarea");
    if (first) first.focus();
    found.scrollIntoView({ block: "nearest" });
  } else if (typing(found)) {
    found.focus();
  } else {
    found.click();
  }
});

// The count-down while a resistor is held across a reservoir.
document.addEventListener("click", (event) => {
  const button = event.target.closest("button.count");
  if (!button || button.dataset.runs) return;
  button.dataset.runs = "yes";
  const end = Date.now() + 1000 * Number(button.dataset.seconds);
  const tick = () => {
    const left = Math.ceil((end - Date.now()) / 1000);
    button.textContent = left > 0 ? `hold: ${left} s` : "now verify with the meter: below 5 V";
    if (left > 0) setTimeout(tick, 250);
    else delete button.dataset.runs;
  };
  tick();
});

// A long step says that it goes on, and is not sent twice.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.dataset.wait) return;
  const button = form.querySelector("button:not([type=button])");
  if (!button) return;
  button.dataset.said = button.textContent;
  button.textContent = form.dataset.wait;
  setTimeout(() => { button.disabled = true; });
});
addEventListener("pageshow", () => {
  for (const button of document.querySelectorAll("button[data-said]")) {
    button.textContent = button.dataset.said;
    button.disabled = false;
  }
});

// The reading box gets the focus again when the next check has arrived.
document.addEventListener("htmx:afterSettle", () => {
  const wrong = document.querySelector("#hunt [aria-invalid]");
  const box = wrong || document.querySelector("#hunt .readbox [autofocus]");
  if (box && !typing(document.activeElement)) box.focus();
  if (wrong && wrong.select) wrong.select(); // what is typed next replaces it
});
