// Current-meter pod for electron beam: longer than the machine is high.
$fn = 64;
difference() {
    union() {
        cylinder(d = 60, h = 388);
        translate([0, 0, 388]) cylinder(d1 = 60, d2 = 16, h = 26);
    }
    translate([0, 0, -1]) cylinder(d = 54, h = 386);
    translate([0, 0, 385]) cylinder(d1 = 54, d2 = 10, h = 24);
    translate([0, 0, 400]) cylinder(d = 8, h = 20);
    translate([0, 0, 60]) rotate([0, 90, 0]) cylinder(d = 8, h = 40);
}
