// Every rule that the linter has, but those that exceptions.json gives a reason for, and a second
// validator. Prints as JSON what is found, and which exceptions nothing needs any more.
import { readFileSync } from "node:fs";
import { createConfig, lint } from "@redocly/openapi-core";
import { Validator } from "@seriousme/openapi-schema-validator";

const [ref] = process.argv.slice(2);
const exceptions = JSON.parse(readFileSync("exceptions.json", "utf8"));
const problems = await lint({ ref, config: await createConfig({ extends: ["all"] }) });
const needed = new Set(problems.map((problem) => problem.ruleId));
const validated = await new Validator().validate(ref);

console.log(
  JSON.stringify({
    found: problems
      .filter((problem) => !(problem.ruleId in exceptions))
      .map((problem) => `${problem.ruleId}: ${problem.message} ${problem.location[0].pointer}`),
    unneeded: Object.keys(exceptions).filter((rule) => !needed.has(rule)),
    invalid: validated.errors ?? [],
  }),
);
