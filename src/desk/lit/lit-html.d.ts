/** The library lit-html as the page gets it: its files lie beside the page's scripts, put there by copy-lit.js. */
export * from 'lit-html';
