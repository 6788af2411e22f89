/**
 * The page before its scripts have filled it.
 *
 * @param scripts Their addresses: named at once, for the browser would find them only one by the other.
 */
export function pageHtml(scripts: readonly string[]): string {
  const preloads = scripts.map((script) => `<link rel="modulepreload" href="${script}">\n`).join('');
  return `<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Lamella</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="style.css">
${preloads}<script type="module" src="page/main.js"></script>
</head>
<body>
<header class="bar">
<h1 id="name">Opening</h1>
<div id="layers" class="choices" role="radiogroup" aria-label="What is shown"></div>
<label class="field" id="frame-field">frame <input id="frame-number" type="number" min="1" step="1" inputmode="numeric"></label>
<label class="field"><input id="compare" type="checkbox"> split</label>
<label class="field" id="left-field" hidden>left <select id="left"></select></label>
<span class="gap"></span>
<div id="tools" class="choices" role="radiogroup" aria-label="Tool"></div>
<button id="help" type="button" aria-haspopup="dialog">Keys</button>
</header>
<main>
<div id="picture" class="picture">
<canvas id="canvas" tabindex="0" role="application" aria-roledescription="picture" aria-label="The picture. Arrow keys move it, plus and minus zoom, 0 fits it, 1 shows single pixels, Enter sets a point at the cross." aria-describedby="readout"></canvas>
<div id="divider" class="divider" role="slider" tabindex="0" aria-orientation="horizontal" aria-label="Dividing line" aria-valuemin="0" aria-valuemax="100" aria-valuenow="50" hidden></div>
<div id="scale" class="scale"><div id="scale-line"></div><span id="scale-text"></span></div>
<div id="legend" class="legend" hidden></div>
<div class="zoom" role="group" aria-label="Zoom"><button id="zoom-out" type="button" aria-label="Zoom out">&#8722;</button><output id="zoom-text"></output><button id="zoom-in" type="button" aria-label="Zoom in">+</button><button id="zoom-fit" type="button">Fit</button></div>
</div>
<section id="bench" class="bench" hidden aria-live="off"></section>
<p id="readout" class="readout"></p>
</main>
<aside id="rail" class="rail" aria-label="Rail ruler">
<div class="rail-head"><h2>Rail ruler</h2><span id="progress" role="status"></span></div>
<div id="ruler" class="ruler"></div>
<p id="rail-note" class="rail-note"></p>
</aside>
<p id="status" class="status" role="status"></p>
<dialog id="help-text" aria-labelledby="help-title">
<h2 id="help-title">Keys</h2>
<dl>
<dt>Arrows</dt><dd>move the picture; with Shift by single pixels</dd>
<dt>+ and &#8722;</dt><dd>zoom</dd>
<dt>0 and 1</dt><dd>the whole picture; one pixel to one</dd>
<dt>[ and ]</dt><dd>the frame before; the next</dd>
<dt>Enter</dt><dd>set a point at the cross (section, distance, outline)</dd>
<dt>Backspace</dt><dd>take back the last point</dd>
<dt>C</dt><dd>close the outline</dd>
<dt>Escape</dt><dd>clear points, or what is lit</dd>
<dt>Ctrl+Z, Ctrl+Y</dt><dd>undo and redo a mend</dd>
<dt>Ctrl+S</dt><dd>save the mends</dd>
<dt>On the ruler</dt><dd>arrows go from frame to frame, with Shift over a range; Enter shows the frame</dd>
<dt>Pointer</dt><dd>drag moves, the wheel or two fingers zoom; while a tool is in hand, drag with the right button, or with Space held</dd>
</dl>
<form method="dialog"><button>Close</button></form>
</dialog>
</body>
</html>
`;
}
