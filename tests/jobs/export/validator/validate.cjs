// Prints the report of the reference validator on a file of glTF 2.0, as JSON.
const fs = require("fs");
const path = require("path");
const [modules, file] = process.argv.slice(2);
const validator = require(path.join(modules, "gltf-validator"));
validator
  .validateBytes(new Uint8Array(fs.readFileSync(file)), { maxIssues: 0 })
  .then((report) => console.log(JSON.stringify(report)))
  .catch((error) => {
    console.error(error);
    process.exit(1);
  });
