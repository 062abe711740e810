// Prints the hash of each event of the documents on standard input, by npm epcis2.js (its folder is the first argument).
// That program takes any text that Date.parse understands for a date, and V8 understands "resin 12": only instants are.
const parse = Date.parse;
Date.parse = (text) => (/^\d{4}-\d\d-\d\dT\d\d:/.test(text) ? parse(text) : NaN);
const { eventToHashedId } = require(process.argv[2]);
for (const document of JSON.parse(require("fs").readFileSync(0, "utf8")))
  for (const event of document.epcisBody.eventList) console.log(eventToHashedId(event, document["@context"]));
