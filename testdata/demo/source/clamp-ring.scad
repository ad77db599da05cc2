// Clamp ring: nothing to complain about.
$fn = 96;
difference() {
    cylinder(d = 60, h = 14);
    translate([0, 0, -1]) cylinder(d = 46, h = 16);
    translate([20, -1.5, -1]) cube([12, 3, 16]);
    for (a = [60, 120, 180, 240, 300]) rotate(a) translate([26.5, 0, -1]) cylinder(d = 4.5, h = 16, $fn = 40);
}
