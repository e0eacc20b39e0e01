// Scans a device's label with the camera where the browser can read codes, else takes the six signs below the square.

import { _ } from "../words.js";
import { h } from "./build.js";

export async function scanPage(app) {
  const said = h("p", { role: "status" });
  const box = h(
    "input", {
      id: "label-code",
      name: "code",
      autocomplete: "off",
      autocapitalize: "characters",
      spellcheck: "false",
      maxlength: "12",
    }
  );
  const form = h("form", {
      class: "phone-form",
      onsubmit: (event) => {
        event.preventDefault();
        open(box.value);
      }
    },
    h("div", { class: "field" }, h("label", { for: "label-code" }, _("Short code below the square")), box),
    h("button", { class: "main big" }, _("Open the stop")));
  const page = [
    h("header", { class: "stop-head" },
      h("a", { class: "back", href: "#/", "aria-label": _("Back to the round") }, "←"),
      h("h1", {}, _("Which device is it?"))),
    said,
  ];
  const camera = await startCamera(open, (words) => { said.textContent = words; });
  if (camera) {
    app.leave = camera.stop;
    page.push(camera.video);
  }
  return [...page, form];

  function open(text) {
    const code = codeIn(text);
    if (!code) { said.textContent = _("This is no label of a device."); return; }
    location.hash = `#/d/${code}`;
  }
}

// A label's square holds the short address of the device; people type the code alone.
export function codeIn(text) {
  const address = /\/d\/([0-9A-Za-z]{4,12})\/?(?:[?#].*)?$/.exec(text.trim());
  const bare = text.replace(/[\s-]/g, "");
  const code = address ? address[1] : /^[0-9A-Za-z]{4,12}$/.test(bare) ? bare : "";
  return code.toUpperCase();
}

// A browser may know the name of the reader and still have none to lend: then it names no format that it reads.
async function readerOf() {
  const Reader = window.BarcodeDetector;
  if (!Reader || !navigator.mediaDevices?.getUserMedia) return null;
  try {
    const formats = (await Reader.getSupportedFormats?.()) ?? ["qr_code"];
    return formats.includes("qr_code") ? new Reader({ formats: ["qr_code"] }) : null;
  } catch {
    return null;
  }
}

async function startCamera(found, say) {
  const detector = await readerOf();
  if (!detector) {
    say(_("This browser reads no codes by camera: type the short code."));
    return null;
  }
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  } catch {
    say(_("The camera is not free or not allowed: type the short code."));
    return null;
  }
  const video = h(
    "video", { class: "camera", autoplay: true, muted: true, playsinline: true, "aria-label": _("Camera") }
  );
  video.muted = true;
  video.srcObject = stream;
  say(_("Hold the label's square into the picture."));
  let isOn = true;
  look();
  return { video, stop };

  async function look() {
    let misses = 0;
    while (isOn) {
      await new Promise((done) => { setTimeout(done, 200); });
      if (video.readyState < 2) continue; // no picture yet
      try {
        const code = (await detector.detect(video)).map((each) => codeIn(each.rawValue)).find(Boolean);
        misses = 0;
        if (code && isOn) {
          stop();
          found(code);
          return;
        }
      } catch {
        misses += 1;
        if (misses === 10 && isOn) say(_("The camera's pictures cannot be read here: type the short code."));
      }
    }
  }

  function stop() {
    isOn = false;
    for (const track of stream.getTracks()) track.stop();
  }
}
