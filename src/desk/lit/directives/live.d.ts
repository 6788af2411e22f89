export * from 'lit-html/directives/live.js';
