/** The library three as the page gets it: its files lie beside the page's scripts, put there by copy-three.js. */
export * from 'three';
