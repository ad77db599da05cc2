// Bores that open into one another. Read beside TestGalleries.
$fn = 24;
e = 1;

module up(x, y, z, d, h) { translate([x, y, z]) cylinder(d = d, h = h); }
module along(x, y, z, d, h) { translate([x, y, z]) rotate([0, 90, 0]) cylinder(d = d, h = h); }

// A blind bore with an outlet near its bottom.
difference() {
  cube([30, 20, 70]);
  up(15, 10, 10, 5, 60 + e);
  along(15, 10, 14, 5, 15 + e);
}

// A blind bore that is opened halfway.
translate([0, 40, 0]) difference() {
  cube([30, 20, 70]);
  up(15, 10, 10, 5, 60 + e);
  along(15, 10, 40, 5, 15 + e);
}

// A through bore, 50 long below a branch that is 65 long.
translate([0, 80, 0]) difference() {
  cube([80, 20, 110]);
  up(15, 10, -e, 4, 110 + 2 * e);
  along(15, 10, 50, 4, 65 + e);
}

// A gallery, blind, with three branches.
translate([0, 120, 0]) difference() {
  cube([120, 20, 30]);
  along(-e, 10, 12, 6, 110 + e);
  for (x = [20, 60, 100]) up(x, 10, 12, 5, 18 + e);
}

// A bore with an outlet that is too narrow; the outlet leads into it as into a room.
translate([0, 160, 0]) difference() {
  cube([30, 20, 70]);
  up(15, 10, 10, 6, 60 + e);
  along(15, 10, 12, 2, 15 + e);
}

// Two blind bores, bottom to bottom.
translate([0, 200, 0]) difference() {
  cube([30, 20, 70]);
  up(15, 10, -e, 5, 35 + e);
  up(15, 10, 36, 5, 34 + e);
}

// A bore with a shoulder.
translate([0, 240, 0]) difference() {
  cube([30, 20, 70]);
  up(15, 10, 30, 6, 40 + e);
  up(15, 10, -e, 5, 40);
}

// Two blind bores that a third joins, which is closed at both ends.
translate([0, 280, 0]) difference() {
  cube([60, 20, 70]);
  for (x = [15, 45]) up(x, 10, 10, 5, 60 + e);
  along(10, 10, 15, 5, 40);
}
