// The one script of every page. Each module hooks what carries its data- attribute, on load and on whatever htmx
// brings later; a page without such things costs nothing. All pages work without it but signing and camera scanning.
import "./once.js";
import "./drafts.js";
import "./wires.js";
import "./focus.js";
import "./combobox.js";
import "./scanner.js";
import "./timer.js";
import "./countdown.js";
import "./keypad.js";
import "./photo.js";
import "./idle.js";
import "./signature.js";
import "./values.js";
