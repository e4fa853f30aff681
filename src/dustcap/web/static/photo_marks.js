// The layer over one picture that takes clicks and carries points; coordinates are pixels of the picture.

const SVG = "http://www.w3.org/2000/svg";
const RADIUS = 11;
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

function make(name, attributes) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

export class Marks {
  constructor(view, side, width, height, { set, moved, gone }) {
    Object.assign(this, { side, width, height, moved, gone, set, cross: null, shown: [], outline: [], word: "point" });
    this.layer = make("svg", {
      class: "marks", viewBox: `0 0 ${width} ${height}`, preserveAspectRatio: "none", tabindex: "0", role: "application",
      "aria-label": `Picture of the ${side} side. Arrow keys move a cross, with Shift by ten; Enter sets a point there.`,
    });
    view.append(this.layer);
    this.layer.addEventListener("click", (event) => {
      if (!this.dragged && !event.target.closest(".point")) this.set(side, this.at(event));
      this.dragged = false;
    });
    this.layer.addEventListener("keydown", (event) => this.key(event));
    this.layer.addEventListener("blur", () => {
      this.cross = null; // not drawn anew: that would take the point away that the focus goes to
      this.layer.querySelector(".cross")?.remove();
    });
    new ResizeObserver(() => this.redraw()).observe(this.layer);
  }

  // Pixels of the picture in one pixel of the screen.
  get scale() {
    return this.width / (this.layer.getBoundingClientRect().width || this.width);
  }

  at(event) {
    const box = this.layer.getBoundingClientRect();
    return this.inside([((event.clientX - box.left) * this.width) / box.width, ((event.clientY - box.top) * this.height) / box.height]);
  }

  inside([x, y]) {
    return [Math.min(Math.max(x, 0), this.width), Math.min(Math.max(y, 0), this.height)];
  }

  step(event) {
    const arrow = ARROWS[event.key];
    if (!arrow) return null;
    event.preventDefault();
    event.stopPropagation();
    const by = (event.shiftKey ? 10 : 1) * Math.max(1, this.scale);
    return [arrow[0] * by, arrow[1] * by];
  }

  key(event) {
    if (event.target !== this.layer) return;
    const step = this.step(event);
    this.cross ??= [this.width / 2, this.height / 2];
    if (step) this.cross = this.inside([this.cross[0] + step[0], this.cross[1] + step[1]]);
    else if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      return this.set(this.side, this.cross);
    } else return;
    this.redraw();
  }

  show(points, outline, word) {
    Object.assign(this, { shown: points, outline, word });
    this.redraw();
  }

  redraw() {
    const focused = [...this.layer.querySelectorAll(".point")].indexOf(document.activeElement);
    const r = RADIUS * this.scale;
    this.layer.replaceChildren();
    if (this.outline.length > 1) {
      this.layer.append(make("polygon", { class: "outline", points: this.outline.map((corner) => corner.join(",")).join(" ") }));
    }
    if (this.cross) {
      const [x, y] = this.cross;
      this.layer.append(make("path", { class: "cross", d: `M${x - 2 * r},${y}H${x + 2 * r}M${x},${y - 2 * r}V${y + 2 * r}` }));
    }
    this.shown.forEach((point, index) => this.layer.append(this.point(point, index, r)));
    if (focused >= 0) this.layer.querySelectorAll(".point")[focused]?.focus({ preventScroll: true });
  }

  point([x, y], index, r) {
    const group = make("g", {
      class: "point", tabindex: "0", role: "button",
      "aria-label": `${this.word} ${index + 1} on the ${this.side} side, ${Math.round(x)} right, ${Math.round(y)} down. Arrow keys move it, Delete takes it away.`,
    });
    group.append(make("circle", { cx: x, cy: y, r }), make("circle", { cx: x, cy: y, r: r / 8 }));
    const text = make("text", { x: x + 1.2 * r, y: y - 0.8 * r, style: `font-size:${1.5 * r}px;stroke-width:${0.35 * r}px` });
    text.textContent = index + 1;
    group.append(text);
    group.addEventListener("keydown", (event) => {
      const step = this.step(event);
      if (step) this.moved(this.side, index, this.inside([x + step[0], y + step[1]]));
      if (event.key === "Delete" || event.key === "Backspace") {
        event.preventDefault();
        this.gone(this.side, index);
      }
    });
    group.addEventListener("pointerdown", (event) => {
      group.focus({ preventScroll: true });
      this.drag(event, index);
    });
    return group;
  }

  // The layer keeps the pointer, for the point is drawn anew while it moves.
  drag(start, index) {
    start.preventDefault();
    this.layer.setPointerCapture(start.pointerId);
    const move = (event) => {
      this.dragged = true;
      this.moved(this.side, index, this.at(event));
    };
    const end = () => {
      this.layer.removeEventListener("pointermove", move);
      this.layer.removeEventListener("pointerup", end);
      this.layer.removeEventListener("pointercancel", end);
    };
    this.layer.addEventListener("pointermove", move);
    this.layer.addEventListener("pointerup", end);
    this.layer.addEventListener("pointercancel", end);
  }
}
