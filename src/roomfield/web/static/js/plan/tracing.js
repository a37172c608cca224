// A photo or plan page under the drawing, scaled by two points whose distance is known; and plan files.

import { faultBox, notice, send } from "../door.js";
import { t } from "../words.js";
import { distance } from "./shapes.js";
import { shape } from "../svg.js";
import { loadImages, pictureCorners } from "./view.js";

// Turns the picture about its middle, so that it stays in sight.
export function turnPicture(image, size, by) {
  const middle = (corners) => [(corners[0][0] + corners[2][0]) / 2, (corners[0][1] + corners[2][1]) / 2];
  const before = middle(pictureCorners(image, size));
  image.rotation_deg = ((((image.rotation_deg + by) % 360) + 540) % 360) - 180;
  const after = middle(pictureCorners(image, size));
  image.origin = [image.origin[0] + before[0] - after[0], image.origin[1] + before[1] - after[1]];
}

// The smallest turn that makes the line between two points level or upright, in degrees.
export function straightening([ax, ay], [bx, by]) {
  const angle = (Math.atan2(by - ay, bx - ax) * 180) / Math.PI;
  return Math.round(angle / 90) * 90 - angle;
}

export function traceOver({ book, view, state, surveyId, redraw }) {
  const dialog = document.getElementById("under");
  const form = document.getElementById("under-form");
  const scaleBox = document.getElementById("scale-box");
  const address = (hash) => `/surveys/${surveyId}/media/${hash}`;

  // Only what the chosen form of file leaves open is asked.
  const file = form.querySelector("#under-file");
  file.addEventListener("change", () => {
    const ending = file.value.toLowerCase().split(".").pop();
    for (const question of form.querySelectorAll("[data-for]")) {
      question.hidden = !question.dataset.for.split(" ").includes(ending);
      for (const input of question.querySelectorAll("select")) input.required = !question.hidden;
    }
  });

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    dialog.querySelector(".fault")?.remove();
    const button = form.querySelector("button");
    button.disabled = true;
    try {
      const told = await send("POST", `/api/v1/surveys/${surveyId}/plan/underlay`, new FormData(form));
      if (told.plan) mergePlan(told.plan, told.remarks);
      else await lay(told.sha256);
      dialog.close();
    } catch (error) {
      form.append(faultBox(error));
    } finally {
      button.disabled = false;
    }
  });

  function mergePlan(plan, remarks) {
    book.edit((doc) => {
      for (const name of ["storeys", "rooms", "walls", "slabs", "furniture"]) {
        const known = new Set(doc.dwelling[name].map((item) => item.id));
        doc.dwelling[name].push(...plan.dwelling[name].filter((item) => !known.has(item.id)));
      }
    });
    const said = t("Taken in: {walls} walls, {rooms} rooms.", { walls: plan.dwelling.walls.length, rooms: plan.dwelling.rooms.length });
    notice([said, ...remarks].join(" "), { stay: remarks.length > 0 });
    state.storeyId = plan.dwelling.storeys[0]?.id ?? state.storeyId;
    redraw();
    view.fit();
  }

  async function lay(hash) {
    const image = { storey_id: state.storeyId, media_sha256: hash, origin: [0, 0], metres_per_pixel: 0.01, rotation_deg: 0 };
    book.edit((doc) => {
      doc.dwelling.plan_images = doc.dwelling.plan_images.filter((i) => i.storey_id !== state.storeyId);
      doc.dwelling.plan_images.push(image);
    });
    await loadImages(view, address);
    const size = view.imageSizes.get(hash);
    if (size) {
      book.edit((doc) => { doc.dwelling.plan_images.at(-1).metres_per_pixel = 10 / Math.max(...size); }, { merge: "lay" });
      book.endMerge();
    }
    view.fit();
    begin();
  }

  function begin() {
    const points = [];
    scaleBox.hidden = false;
    scaleBox.querySelector("[data-words]").textContent = t("Press two points whose distance you know, for example the ends of a wall.");
    scaleBox.querySelector("form").hidden = true;
    state.tracing = {
      press(point) {
        if (points.length === 2) points.length = 0;
        points.push(point);
        const ready = points.length === 2;
        scaleBox.querySelector("form").hidden = !ready;
        if (ready) {
          scaleBox.querySelector("[data-words]").textContent = t("How far apart are they in the dwelling?");
          document.getElementById("known-metres").focus();
        }
        view.draw();
      },
      draw(layer) {
        points.forEach((p) => layer.append(shape("circle", { class: "snap-mark", cx: p[0], cy: -p[1], r: 7 * view.metresPerPixel })));
        if (points.length === 2) layer.append(shape("path", { class: "draft-line", d: `M${points[0][0]} ${-points[0][1]}L${points[1][0]} ${-points[1][1]}` }));
      },
      stop() { end(); },
      points,
    };
    view.draw();
  }

  function end() {
    state.tracing = null;
    scaleBox.hidden = true;
    view.draw();
  }

  scaleBox.querySelector("form").addEventListener("submit", (event) => {
    event.preventDefault();
    const metres = Number(document.getElementById("known-metres").value.replace(",", "."));
    const drawn = distance(...state.tracing.points);
    if (!(metres > 0) || drawn < 1e-6) return;
    book.edit((doc) => {
      const image = doc.dwelling.plan_images.find((i) => i.storey_id === state.storeyId);
      image.metres_per_pixel *= metres / drawn;
      if (scaleBox.querySelector("[name=straight]").checked) {
        turnPicture(image, view.imageSizes.get(image.media_sha256) ?? [0, 0], straightening(...state.tracing.points));
      }
    });
    end();
    view.fit();
    notice(t("The picture is to scale now. Draw rooms and walls over it."));
  });
  scaleBox.querySelector("[data-stop]").addEventListener("click", end);
  document.getElementById("scale-again").addEventListener("click", () => {
    dialog.close();
    if (book.doc.dwelling.plan_images.some((i) => i.storey_id === state.storeyId)) begin();
  });
  document.getElementById("image-away").addEventListener("click", () => {
    dialog.close();
    book.edit((doc) => { doc.dwelling.plan_images = doc.dwelling.plan_images.filter((i) => i.storey_id !== state.storeyId); });
  });
}
