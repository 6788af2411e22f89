import { pageHead } from '../view/page-head.js';

/**
 * The desk before its scripts have filled it.
 *
 * @param first Address of the first script.
 * @param scripts Addresses of all: named at once, for the browser would find them only one by the other.
 */
export function pageHtml(first: string, scripts: readonly string[]): string {
  return `${pageHead(first, scripts)}
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
