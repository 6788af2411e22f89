export * from 'lit-html/directives/unsafe-html.js';
