// Before and after in one place, with an edge between them that is drawn over; without script they stand side by side.
const slider = document.getElementById("slider");
if (slider) {
  const range = slider.querySelector("input");
  const show = () => slider.style.setProperty("--at", `${range.value}%`);
  slider.classList.add("live");
  range.addEventListener("input", show);
  slider.addEventListener("pointermove", (event) => {
    if (event.buttons !== 1 || event.target === range) return;
    const box = slider.querySelector("figure").getBoundingClientRect();
    range.value = Math.round((100 * (event.clientX - box.left)) / box.width);
    show();
  });
  show();
}
