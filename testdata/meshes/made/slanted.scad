// Holes whose mouths are not square to them. Read beside TestSlantedHoles.
$fn = 40;

// Through a plate of 6 at 30 degrees, and of 6 at 60 degrees.
difference() {
  translate([-20, -12, 0]) cube([80, 24, 6]);
  translate([0, 0, 3]) rotate([0, 30, 0]) cylinder(d = 5, h = 60, center = true);
  translate([36, 0, 3]) rotate([0, 60, 0]) cylinder(d = 8, h = 90, center = true);
}

// Into a round bar from the side, blind and through.
translate([0, 50, 0]) difference() {
  cylinder(d = 24, h = 40, $fn = 90);
  translate([0, 0, 10]) rotate([0, 90, 0]) cylinder(d = 6, h = 20);
  translate([0, 0, 28]) rotate([90, 0, 0]) cylinder(d = 7, h = 40, center = true);
}

// Through a ball, off its middle, and a hole with a flat slanted bottom.
translate([60, 50, 12]) difference() {
  sphere(d = 24, $fn = 32);
  translate([4, 2, 0]) cylinder(d = 5, h = 40, center = true);
}
translate([100, 50, 0]) difference() {
  translate([-10, -10, 0]) cube([20, 20, 30]);
  translate([0, 0, 10]) intersection() {
    translate([0, 0, -5]) cylinder(d = 6, h = 35);
    rotate([20, 0, 0]) translate([-20, -20, 0]) cube([40, 40, 60]);
  }
}
