// A block that mesh/oracle_live_test.go knows in closed form. Circles of d have
// their corners on the circle, n of them.
d = 4; n = 24; wall = 0.6; gap = 0.5; tilt = 0; s = 1;
$fn = n;
e = 1;

scale(s) rotate([tilt, 2 * tilt, 3 * tilt]) difference() {
  cube([50, 30, 12]);
  translate([8, 8, -e]) cylinder(d = d, h = 12 + 2 * e);                      // through
  translate([8, 22, 5]) cylinder(d = 0.7 * d, h = 7 + e);                     // blind
  translate([20, 8, -e]) cylinder(d = 0.6 * d, h = 12 + 2 * e);               // counterbored
  translate([20, 8, 8]) cylinder(d = 1.6 * d, h = 4 + e);
  translate([17, 17, wall]) cube([8, 8, 12]);                                 // a pocket with a thin floor
  translate([30, -e, 4]) cube([gap, 30 + 2 * e, 9]);                          // a slot
  translate([36, 4, 4]) cube([3, 4, 5]);                                      // a sealed void
  translate([36, 14, 2]) cube([8, 8, 8]);                                     // a chamber with a round vent
  translate([43, 18, 6]) rotate([0, 90, 0]) cylinder(d = 0.5 * d, h = 7 + e);
}
