// Cooling-water intake: a duct from a rectangle to a circle, walls of 1.2 mm,
// with a pocket for a sticker that leaves 0.3 mm.
$fn = 72;
module outside(g) hull() {
    translate([-20 - g, -12 - g, g > 0 ? 0 : -0.1]) cube([40 + 2 * g, 24 + 2 * g, g > 0 ? 1 : 1.1]);
    translate([8, 0, 50]) cylinder(d = 22 + 2 * g, h = g > 0 ? 6 : 6.1);
}
difference() {
    union() {
        outside(1.2);
        difference() {                                   // flange
            translate([-27, -19, 0]) cube([54, 38, 3]);
            for (x = [-24, 24], y = [-16, 16]) translate([x, y, -1]) cylinder(d = 3.4, h = 5);
        }
    }
    outside(0);
    // pocket: 10 x 8 mm, follows the flat side
    multmatrix([[1, 0, 0, -5], [0, 1, 0.0, 0], [0, 0, 1, 22], [0, 0, 0, 1]])
        translate([0, 0, 0]) rotate([atan2(1, 50) , 0, 0]) translate([0, -14 , 0]) cube([10, 2.07, 8]);
}
