// Run memory_driver.py in the 32-bit build of MicroPython for browsers, under node.
// node memory_wasm.mjs PATH/micropython.mjs FIRMWARE_TREE RECORDING RING_BYTES memory_driver.py
import fs from "fs";
import path from "path";

const [library, tree, recording, ring, driver] = process.argv.slice(2);
const { loadMicroPython } = await import(path.resolve(library));
const mp = await loadMicroPython({ heapsize: 4 << 20, linebuffer: true, stdout: (line) => console.log(line) });
const files = mp._module.FS;

function copy(from, to) {
  files.mkdir(to);
  for (const entry of fs.readdirSync(from, { withFileTypes: true })) {
    const source = path.join(from, entry.name);
    if (entry.isDirectory()) copy(source, `${to}/${entry.name}`);
    else files.writeFile(`${to}/${entry.name}`, fs.readFileSync(source));
  }
}

copy(tree, "/tree");
files.writeFile("/recording", fs.readFileSync(recording));
files.writeFile("/tree/memory_driver.py", fs.readFileSync(driver));
mp.runPython("import sys; sys.path.insert(0, '/tree')\nimport memory_driver as driver, gc");
for (let number = 0; number < 7; number++) {
  mp.runPython(`driver.stage(${number}, '/recording', ${ring})`);
  // This build collects only between calls.
  mp.runPython("gc.collect()");
  mp.runPython(`print(driver.STAGES[${number}], gc.mem_alloc())`);
}
