// One route: the chart moves and zooms, and corrections are posted.
import { Zoom } from "./zoom.js";
import { followDerivation, listen } from "./correct.js";

const number = document.querySelector("#route").dataset.number;
for (const part of document.querySelectorAll(".scripted")) {
  part.hidden = false;
}
new Zoom(document.querySelector("#drawing"), `/api/routes/${number}/chart.svg`);
listen(number);
followDerivation(number);
