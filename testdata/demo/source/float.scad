// Level float: a closed capsule on a flat foot. The powder can't get out.
$fn = 56;
difference() {
    union() {
        translate([0, 0, 14]) sphere(d = 28);
        translate([0, 0, 14]) cylinder(d = 28, h = 16);
        translate([0, 0, 30]) sphere(d = 28);
        cylinder(d = 16, h = 6);
    }
    translate([0, 0, 14]) sphere(d = 25);
    translate([0, 0, 14]) cylinder(d = 25, h = 16);
    translate([0, 0, 30]) sphere(d = 25);
}
