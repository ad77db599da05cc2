// Holes that cross. Read beside TestCrossingHoles.
$fn = 48;
e = 1;

// A wide bore pierced by a narrow one.
difference() {
  translate([-15, -15, 0]) cube([30, 30, 40]);
  translate([0, 0, -e]) cylinder(d = 10, h = 40 + 2 * e);
  translate([-15 - e, 0, 17]) rotate([0, 90, 0]) cylinder(d = 4, h = 30 + 2 * e);
}

// Two bores of one diameter.
translate([50, 0, 0]) difference() {
  translate([-15, -15, 0]) cube([30, 30, 40]);
  translate([0, 0, -e]) cylinder(d = 8, h = 40 + 2 * e);
  translate([-15 - e, 0, 21]) rotate([0, 90, 0]) cylinder(d = 8, h = 30 + 2 * e);
}

// A bore that ends in another: a tee.
translate([100, 0, 0]) difference() {
  translate([-15, -15, 0]) cube([30, 30, 40]);
  translate([0, 0, -e]) cylinder(d = 12, h = 40 + 2 * e);
  translate([0, 0, 13]) rotate([0, 90, 0]) cylinder(d = 5, h = 15 + e);
}

// A hole that misses the middle of a bore by 3.
translate([150, 0, 0]) difference() {
  translate([-15, -15, 0]) cube([30, 30, 40]);
  translate([0, 0, -e]) cylinder(d = 12, h = 40 + 2 * e);
  translate([-15 - e, 3, 20]) rotate([0, 90, 0]) cylinder(d = 3, h = 30 + 2 * e);
}
