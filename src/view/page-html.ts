import { pageHead } from './page-head.js';

/**
 * The page before its scripts have filled it.
 *
 * @param scripts Their addresses: named at once, for the browser would find them only one by the other.
 * @param home Address of the desk that led here; none when the page stands alone.
 */
export function pageHtml(scripts: readonly string[], home?: string): string {
  const wayBack = home === undefined ? '' : `<a class="home" href="${home}">Desk</a>\n`;
  return `${pageHead('page/main.js', scripts)}
<body>
<header class="bar">
${wayBack}<h1 id="name">Opening</h1>
<div id="layers" class="choices" role="radiogroup" aria-label="What is shown"></div>
<label class="field"><input id="compare" type="checkbox"> split</label>
<button id="relief-toggle" type="button" aria-pressed="false">Relief</button>
<span class="gap"></span>
<div id="tools" class="choices" role="radiogroup" aria-label="Tool"></div>
<button id="help" type="button" aria-haspopup="dialog">Keys</button>
</header>
<main>
<div id="picture" class="picture">
<canvas id="canvas" tabindex="0" role="application" aria-roledescription="picture" aria-label="The picture. Arrow keys move it, plus and minus zoom, 0 fits it, 1 shows single pixels, Enter sets a point at the cross." aria-describedby="readout"></canvas>
<div id="divider" class="divider" role="slider" tabindex="0" aria-orientation="horizontal" aria-label="Dividing line" aria-valuemin="0" aria-valuemax="100" aria-valuenow="50" hidden></div>
<span id="half-left" class="half" hidden></span>
<span id="half-right" class="half" hidden></span>
<div class="corner">
<div class="over" id="frame-field" role="group" aria-label="Frame" hidden><button id="frame-before" type="button" aria-label="Frame before">&#9666;</button><label class="field">frame <input id="frame-number" type="number" min="1" step="1" inputmode="numeric"></label><button id="frame-after" type="button" aria-label="Next frame">&#9656;</button><span id="frame-name" class="file"></span></div>
<label class="field over" id="left-field" hidden>left half <select id="left"></select></label>
</div>
<div class="zoom over" role="group" aria-label="Zoom"><button id="zoom-out" type="button" aria-label="Zoom out">&#8722;</button><output id="zoom-text" aria-label="Zoom"></output><button id="zoom-in" type="button" aria-label="Zoom in">+</button><button id="zoom-fit" type="button">Fit</button><button id="zoom-pixels" type="button" title="One pixel of the picture to one of the screen">100&nbsp;%</button></div>
<div id="notice" class="notice" hidden><p id="status-text" role="status"></p><button id="notice-close" type="button" aria-label="Close this notice">&#215;</button></div>
<div id="scale" class="scale over"><div id="scale-line"></div><span id="scale-text"></span></div>
<div id="legend" class="legend over" hidden></div>
<div id="loading" class="loading over" hidden>loading in full</div>
<div id="relief" class="relief" role="group" aria-label="Relief" hidden>
<canvas id="relief-canvas" tabindex="0" role="application" aria-roledescription="relief" aria-label="The surface of the subject. Arrow keys turn it, with Shift by single degrees, plus and minus zoom, 1 shows it from the front, 0 as at first." aria-describedby="relief-status"></canvas>
<div class="relief-bar over">
<label class="field">lamp from <input id="relief-lamp" type="range" min="0" max="360" step="5" value="315"></label>
<label class="field">lamp height <input id="relief-lamp-height" type="range" min="0" max="90" step="5" value="45"></label>
<label class="field">depth <input id="relief-depth" type="range" min="0.25" max="4" step="0.25" value="1"></label>
<label class="field"><input id="relief-picture" type="checkbox" checked> picture</label>
<label class="field"><input id="relief-cut" type="checkbox"> cut at the frames held on the ruler</label>
<button id="relief-reset" type="button">As at first</button>
</div>
<p id="relief-status" class="relief-status over" role="status"></p>
</div>
</div>
<div id="readout" class="readout" role="status" aria-live="polite" aria-atomic="true"><span id="readout-now" aria-hidden="true"></span><span id="readout-spoken" class="unseen"></span></div>
</main>
<div class="side">
<aside id="rail" class="rail" aria-label="Rail ruler">
<div class="rail-head"><h2>Rail ruler</h2><span id="progress" role="status"></span></div>
<div id="ruler" class="ruler"></div>
<p id="rail-note" class="rail-note"></p>
</aside>
<section id="panel" class="panel" hidden></section>
</div>
<dialog id="help-text" aria-labelledby="help-title">
<h2 id="help-title">Keys</h2>
<dl>
<dt>Arrows</dt><dd>move the picture; with Shift by single pixels</dd>
<dt>+ and &#8722;</dt><dd>zoom</dd>
<dt>0 and 1</dt><dd>the whole picture; one pixel to one</dd>
<dt>[ and ]</dt><dd>the frame before; the next</dd>
<dt>Enter, or a click</dt><dd>set a point at the cross, or at the pointer (section, distance, outline)</dd>
<dt>Backspace</dt><dd>take back the last point</dd>
<dt>C</dt><dd>close the outline, or end the stroke; a click on the first corner closes an outline too</dd>
<dt>B</dt><dd>brush or outline</dd>
<dt>, and .</dt><dd>a narrower brush; a wider one</dd>
<dt>N and P</dt><dd>the next doubtful place; the one before</dd>
<dt>Escape</dt><dd>clear points, or what is lit</dd>
<dt>Ctrl+Z, Ctrl+Y</dt><dd>undo and redo a mend</dd>
<dt>Ctrl+S</dt><dd>save the mends</dd>
<dt>On the ruler</dt><dd>arrows go from frame to frame, with Shift over a range; Enter shows the frame</dd>
<dt>On the relief</dt><dd>arrows turn it, + and &#8722; zoom, 1 shows it from the front, 0 as at first; drag turns, the wheel zooms</dd>
<dt>Pointer</dt><dd>drag moves, the wheel or two fingers zoom; while a tool is in hand, click or drag to use it, and move the picture with the right button, or with Space held</dd>
</dl>
<form method="dialog"><button>Close</button></form>
</dialog>
</body>
</html>
`;
}
