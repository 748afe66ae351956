// The islands: small elements that make a page quicker to use. Every page works without them.
import "./upload";
import "./work";
// There before the page is: whoever notes a mishap may have no network a moment later.
import "./wrong";
if (document.querySelector("form[data-tell]")) void import("./tell");
if (document.querySelector("textarea[data-layers]")) void import("./stack");

if (document.querySelector("qw-viewer")) void import("./viewer");
if (document.querySelector("qw-pair")) void import("./pair");
if (document.querySelector("qw-correct")) void import("./correct");
if (document.querySelector("qw-holes")) void import("./holes");
if (document.querySelector("qw-damage")) void import("./damage");
if (document.querySelector("qw-since")) void import("./since");
if (document.querySelector("qw-today")) void import("./today");
