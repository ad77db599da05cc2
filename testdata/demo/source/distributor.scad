// Pitch-control distributor: a block with bores, a gallery and an oil chamber.
// Stands on its base, z up. Millimetres.
$fn = 48;
difference() {
    cube([60, 44, 40]);
    // bolt holes
    for (x = [7, 53], y = [7, 37]) translate([x, y, -1]) cylinder(d = 5.5, h = 42);
    // inlet from the top, down to the gallery
    translate([12, 22, 12]) cylinder(d = 10, h = 30);
    // gallery along x: lies flat
    translate([-1, 22, 12]) rotate([0, 90, 0]) cylinder(d = 9, h = 49);
    // two pilot ports across, small enough to carry their own roof
    for (x = [24, 38]) translate([x, -1, 12]) rotate([-90, 0, 0]) cylinder(d = 4, h = 24);
    // bleed hole, too fine to stay open
    translate([44, 34, 20]) cylinder(d = 0.45, h = 21, $fn = 24);
    // gauge port: deep and blind
    translate([30, 8, 8]) cylinder(d = 2, h = 33, $fn = 32);
    // oil chamber with one narrow vent
    translate([44, 22, 25]) sphere(d = 16);
    translate([44, 22, 25]) cylinder(d = 2, h = 16, $fn = 32);
}
