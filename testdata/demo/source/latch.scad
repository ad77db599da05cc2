// Hatch latch for binder jetting: thick root, a pocket that opens through one hole.
$fn = 40;
difference() {
    union() {
        cube([64, 20, 16]);
        translate([64, 0, 0]) cube([22, 20, 7]);
        translate([0, 10, 8]) rotate([0, 90, 0]) cylinder(d = 16, h = 10);
    }
    translate([24, 4, 4]) cube([26, 12, 8]);              // pocket
    translate([37, 10, 11]) cylinder(d = 3, h = 6);       // its only way out
    translate([8, -1, 8]) rotate([-90, 0, 0]) cylinder(d = 6, h = 22);
    translate([76, 10, -1]) cylinder(d = 6, h = 9);
}
