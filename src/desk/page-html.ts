/**
 * The desk before its scripts have filled it.
 *
 * @param first Address of the first script.
 * @param scripts Addresses of all: named at once, for the browser would find them only one by the other.
 */
export function pageHtml(first: string, scripts: readonly string[]): string {
  const preloads = scripts.map((script) => `<link rel="modulepreload" href="${script}">\n`).join('');
  return `<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Lamella</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="style.css">
${preloads}<script type="module" src="${first}"></script>
</head>
<body>
<a class="skip" href="#screen">To the screen</a>
<header class="top">
<p class="brand">Lamella</p>
<nav id="nav" class="nav" aria-label="Screens"></nav>
<div id="work" class="work"></div>
</header>
<main id="screen" class="screen" tabindex="-1"><noscript><p>The desk needs JavaScript.</p></noscript></main>
<div id="notice" class="toast" role="status" hidden></div>
</body>
</html>
`;
}
