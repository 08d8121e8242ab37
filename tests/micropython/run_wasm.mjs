// Run a script in the 32-bit build of MicroPython for browsers, under node; its small integers have 31 bits.
// node run_wasm.mjs PATH/micropython.mjs TOP SCRIPT [FILE ARGUMENT...]: FILE appears as /inputs.bin.
import fs from "fs";
import path from "path";

const [library, top, script, inputs, ...rest] = process.argv.slice(2);
const { loadMicroPython } = await import(path.resolve(library));
const mp = await loadMicroPython({
  heapsize: 8 << 20, pystack: 65536, linebuffer: true, stdout: (line) => console.log(line),
});
const files = mp._module.FS;
for (const folder of ["/firmware_sim", "/firmware_sim/contract", "/firmware_sim/kernels"]) {
  files.mkdir(folder);
  for (const name of fs.readdirSync(top + folder)) {
    if (name.endsWith(".py")) files.writeFile(`${folder}/${name}`, fs.readFileSync(`${top}${folder}/${name}`));
  }
}
if (inputs) files.writeFile("/inputs.bin", fs.readFileSync(inputs));
const words = JSON.stringify(["script", "/", "/inputs.bin", ...rest]);
mp.runPython(`import sys\nsys.path.insert(0, "/")\nsys.argv[:] = ${words}`);
mp.runPython(fs.readFileSync(script, "utf8"));
