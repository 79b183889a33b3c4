// The earth's field at DATE LATITUDE LONGITUDE (km above the ellipsoid: 0) by the World Magnetic
// Model's coefficients that npm's geomagnetism carries: "X Y Z F" in nT. node_modules is beside the
// working folder's package.json.
import { createRequire } from "node:module";

const [date, latitude, longitude] = process.argv.slice(2);
const model = createRequire(`${process.cwd()}/`)("geomagnetism").model(new Date(date));
const { x, y, z, f } = model.point([Number(latitude), Number(longitude), 0]);
console.log(x, y, z, f);
