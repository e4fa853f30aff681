// Points, places and outlines on the pictures of a board. Everything is saved by the page's own forms; without script
// they are typed. Keyboard: on a picture the arrow keys move a cross and Enter sets a point; on a point they move it.
import { back, forth, pairs } from "./photo_geometry.js";
import { Marks } from "./photo_marks.js";

const OTHER = { component: "solder", solder: "component" };
const HINTS = {
  look: "Click a place on one side: it is shown on the other, with the part that lies nearest.",
  scale: "Click the four corners of the board on the component side: lower left, lower right, upper right, upper left.",
  join: "Click a hole on the component side, then the same hole on the solder side. Four pairs or more.",
  place: "Click where the chosen part sits, on either side.",
  area: "Click the corners in order around the area. Drag a corner to move it.",
};

let data = JSON.parse(document.getElementById("board-data").textContent);
let mode = "look";
const said = document.getElementById("said");
const marks = {};
const clicked = { scale: [], join: { component: [], solder: [] }, area: [], look: null };

for (const view of document.querySelectorAll(".view")) {
  const side = view.dataset.side;
  const { width, height } = data.sides[side];
  marks[side] = new Marks(view, side, width, height, { set, moved, gone });
}
for (const each of document.querySelectorAll("[hidden].modes, .zoom[hidden], [data-clear][hidden], [data-edit][hidden]")) each.hidden = false;
document.querySelectorAll(".zoom button").forEach((button) => button.addEventListener("click", () => {
  const section = button.closest("section");
  const view = section.querySelector(".view");
  const now = Number(view.style.getPropertyValue("--zoom") || 1);
  const next = Math.min(6, Math.max(1, button.dataset.zoom === "in" ? now * 1.5 : now / 1.5));
  view.style.setProperty("--zoom", next);
  marks[view.dataset.side].redraw();
}));
document.querySelectorAll("input[name=mode]").forEach((input) => input.addEventListener("change", () => choose(input.value)));
document.addEventListener("click", (event) => {
  const edit = event.target.closest("[data-edit]");
  if (edit) startEditing(edit.dataset.edit);
  if (event.target.closest("[data-clear]")) { clicked.area = []; show(); }
});
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.matches("[data-mode], #areas form")) return;
  event.preventDefault();
  save(form, event.submitter);
});
document.getElementById("place-form").addEventListener("change", () => show());
document.getElementById("views").before(document.getElementById("tools"));
document.getElementById("tools").classList.add("live");
startWith();

function startWith() {
  clicked.scale = data.sides.component.points.slice(0, 4).map((one) => one.pixel);
  const joined = data.sides.solder.points;
  clicked.join = { component: joined.map((one) => one.place), solder: joined.map((one) => one.pixel) };
  choose(mode);
}

function choose(next) {
  mode = next;
  document.querySelector(`input[name=mode][value=${next}]`).checked = true;
  for (const form of document.querySelectorAll(".tools form")) form.hidden = form.dataset.mode !== next;
  tell(HINTS[next]);
  show();
}

function startEditing(name) {
  const area = data.areas.find((one) => one.name === name);
  const form = document.getElementById("area-form");
  form.elements.name.value = area.name;
  form.elements.kind.value = area.kind;
  clicked.area = area.outline.map((corner) => [...corner]);
  choose("area");
  form.scrollIntoView({ block: "nearest" });
}

// A click, or Enter at the cross, on a picture.
function set(side, pixel) {
  const mm = back(data.sides[side].matrix, pixel);
  if (mode === "look") return look(side, pixel);
  if (mode === "scale") {
    if (side !== "component") return tell("The corners are clicked on the component side.");
    if (clicked.scale.length >= 4) return tell("All four corners are there: drag one, or save.");
    clicked.scale.push(pixel);
  } else if (mode === "join") {
    clicked.join[side].push(pixel);
    const waiting = clicked.join.component.length - clicked.join.solder.length;
    tell(waiting > 0 ? `Now number ${clicked.join.component.length} on the solder side.` : waiting < 0 ? `Now number ${clicked.join.solder.length} on the component side.` : `${clicked.join.solder.length} pairs. Another one, or save.`);
  } else if (!mm) {
    return tell("This picture is not laid on millimetres yet: steps 1 and 2 come first.");
  } else if (mode === "place") {
    const form = document.getElementById("place-form");
    form.elements.x.value = mm[0].toFixed(1);
    form.elements.y.value = mm[1].toFixed(1);
    return save(form, form.querySelector("button"));
  } else if (mode === "area") {
    clicked.area.push(mm);
  }
  show();
}

function moved(side, index, pixel) {
  if (mode === "scale") clicked.scale[index] = pixel;
  if (mode === "join") clicked.join[side][index] = pixel;
  if (mode === "area") clicked.area[index] = back(data.sides[side].matrix, pixel);
  if (mode === "look") return look(side, pixel);
  show();
}

function gone(side, index) {
  if (mode === "scale") clicked.scale.splice(index, 1);
  if (mode === "join") for (const each of Object.values(clicked.join)) each.splice(index, 1);
  if (mode === "area") clicked.area.splice(index, 1);
  if (mode === "look") clicked.look = null;
  show();
}

function look(side, pixel) {
  const mm = back(data.sides[side].matrix, pixel);
  clicked.look = { [side]: pixel };
  if (!mm) {
    tell("This picture is not laid on millimetres yet: steps 1 and 2 come first.");
    return show();
  }
  const there = forth(data.sides[OTHER[side]].matrix, mm);
  if (there) clicked.look[OTHER[side]] = there;
  let best = null;
  for (const part of data.parts) {
    if (!part.at) continue;
    const far = Math.hypot(part.at[0] - mm[0], part.at[1] - mm[1]);
    if (!best || far < best.far) best = { part, far };
  }
  const near = best ? `; nearest part ${best.part.name}, ${best.far.toFixed(1)} mm away` : "";
  tell(`${mm[0].toFixed(1)} mm from the left, ${mm[1].toFixed(1)} mm from the lower edge${near}${there ? "" : "; the other side is not laid yet"}.`);
  show();
}

// Bring pictures and form fields to what was clicked.
function show() {
  const shown = { component: [], solder: [] };
  let outline = [];
  if (mode === "scale") shown.component = clicked.scale;
  if (mode === "join") Object.assign(shown, clicked.join);
  if (mode === "look" && clicked.look) for (const side of Object.keys(clicked.look)) shown[side] = [clicked.look[side]];
  if (mode === "area") outline = clicked.area;
  for (const [side, layer] of Object.entries(marks)) {
    const corners = outline.map((mm) => forth(data.sides[side].matrix, mm)).filter(Boolean);
    layer.show(mode === "area" ? corners : shown[side], mode === "area" ? corners : [], mode === "look" ? "place" : "point");
  }
  const fields = (id) => document.getElementById(id).elements;
  fields("scale-form").pixels.value = pairs(clicked.scale, 1);
  fields("join-form").places.value = pairs(clicked.join.component, 1);
  fields("join-form").pixels.value = pairs(clicked.join.solder, 1);
  if (mode === "area") fields("area-form").outline.value = pairs(clicked.area, 1);
}

// Send a form and take over what the page that comes back shows; a refusal is told where the eye is.
async function save(form, button) {
  const body = new FormData(form);
  if (button?.name) body.append(button.name, button.value);
  tell("Saving …");
  let text = "";
  try {
    const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(body), credentials: "same-origin" });
    text = await answer.text();
  } catch {
    return tell("The bench does not answer. Nothing was saved.", true);
  }
  const fresh = new DOMParser().parseFromString(text, "text/html");
  const problem = fresh.querySelector("main .problem[role=alert], .failure .what");
  if (problem) return tell(problem.textContent, true);
  const part = form.elements.part?.value;
  for (const id of ["drawn-component", "drawn-solder", "fit-component", "fit-solder", "place-fields", "areas"]) {
    const [old, now] = [document.getElementById(id), fresh.getElementById(id)];
    if (old && now) old.replaceWith(now);
  }
  document.querySelectorAll("[data-edit][hidden]").forEach((each) => (each.hidden = false));
  data = JSON.parse(fresh.getElementById("board-data").textContent);
  if (mode === "area") {
    clicked.area = [];
    document.getElementById("area-form").reset();
  }
  const next = document.getElementById("place-form").elements.part?.value;
  tell(part ? `${part} is saved.${next ? ` Next: ${next}.` : ""}` : "Saved.");
  if (mode !== "area" && mode !== "place") startWith();
  tell(part ? said.textContent : `Saved. ${fitSaid(form)}`);
  show();
}

function fitSaid(form) {
  const side = form.elements.side?.value;
  return side ? document.getElementById(`fit-${side}`).textContent.trim() : "";
}

function tell(line, bad = false) {
  said.textContent = line;
  said.classList.toggle("problem", bad);
}

