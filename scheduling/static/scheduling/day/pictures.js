// Pictures of the work, made small enough for a bad signal, and a signature drawn with a finger.

const LONGEST_SIDE = 1600;
const QUALITY = 0.8;

const asBlob = (canvas, type, quality) => new Promise((resolve) => { canvas.toBlob(resolve, type, quality); });

/** A picture with its longer side at most 1600 pixels, as JPEG; one that the browser cannot read stays as it is. */
export async function shrink(file) {
  let picture;
  try {
    picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  } catch {
    return file;
  }
  const scale = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  return (await asBlob(canvas, "image/jpeg", QUALITY)) ?? file;
}

/** Let a signature be drawn; `changed` is told whenever a stroke ends. Gives what was drawn as a picture, or null. */
export function signaturePad(canvas, strokes, changed) {
  const pen = canvas.getContext("2d");
  let stroke = null;

  const draw = () => {
    pen.fillStyle = "#ffffff";
    pen.fillRect(0, 0, canvas.width, canvas.height);
    pen.strokeStyle = "#10201b";
    pen.lineWidth = 3;
    pen.lineCap = pen.lineJoin = "round";
    for (const points of strokes) {
      pen.beginPath();
      points.forEach(([x, y], at) => (at ? pen.lineTo(x, y) : pen.moveTo(x, y)));
      if (points.length === 1) pen.lineTo(points[0][0] + 0.1, points[0][1]);
      pen.stroke();
    }
  };
  const at = (event) => {
    const box = canvas.getBoundingClientRect();
    return [
      Math.round((event.clientX - box.left) * (canvas.width / box.width)),
      Math.round((event.clientY - box.top) * (canvas.height / box.height)),
    ];
  };
  canvas.addEventListener("pointerdown", (event) => {
    canvas.setPointerCapture(event.pointerId);
    stroke = [at(event)];
    strokes.push(stroke);
    draw();
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!stroke) return;
    stroke.push(at(event));
    draw();
  });
  const end = () => { if (stroke) { stroke = null; changed(); } };
  canvas.addEventListener("pointerup", end);
  canvas.addEventListener("pointercancel", end);
  draw();
  return {
    picture: () => (strokes.length ? asBlob(canvas, "image/png") : Promise.resolve(null)),
    clear: () => { strokes.length = 0; draw(); changed(); },
  };
}
