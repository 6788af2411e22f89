import { html, type Markup, rawMarkup } from './markup.js';
import { pageStyle } from './page-style.js';

/** Nothing may be loaded and nothing may run: the page is complete in itself, whatever a file name contains. */
const contentPolicy = "default-src 'none'; img-src data:; style-src 'unsafe-inline'";

/**
 * A page as one HTML document that needs no network.
 *
 * @param style Style sheet added to `base`.
 * @param base Default: the reports' own. A page for paper brings all of its style itself.
 */
export function htmlPage(title: string, style: string, body: Markup, base = pageStyle): string {
  return html`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="${contentPolicy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>${title}</title>
<style>${rawMarkup(base)}${rawMarkup(style)}</style>
</head>
<body>
${body}
</body>
</html>
`.text;
}
