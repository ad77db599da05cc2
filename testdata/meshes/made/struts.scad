// Round struts that meet in balls, and posts. Read beside TestStruts.
$fn = 16;

module strut(a, b, d) {
  v = b - a;
  l = norm(v);
  translate(a) rotate([0, acos(v[2] / l), atan2(v[1], v[0])]) cylinder(d = d, h = l);
}

// A cell with a node in its middle, the balls as thick as the struts.
p = [[0, 0, 0], [12, 0, 0], [0, 12, 0], [12, 12, 0], [0, 0, 12], [12, 0, 12], [0, 12, 12], [12, 12, 12]];
union() {
  for (q = p) {
    strut(q, [6, 6, 6], 1.6);
    translate(q) sphere(d = 3);
  }
  translate([6, 6, 6]) sphere(d = 1.6);
}

// Posts on a plate: plain, rounded, with a hole across, hollow half way down.
translate([30, 0, 0]) union() {
  cube([50, 12, 3]);
  translate([6, 6, 3]) cylinder(d = 4, h = 9);
  translate([18, 6, 3]) { cylinder(d = 4, h = 9); translate([0, 0, 9]) sphere(d = 4); }
  difference() {
    translate([30, 6, 3]) cylinder(d = 4, h = 12);
    translate([30, 6, 9]) rotate([90, 0, 0]) cylinder(d = 1.5, h = 10, center = true);
  }
  difference() {
    translate([42, 6, 3]) cylinder(d = 6, h = 12);
    translate([42, 6, 4]) cylinder(d = 4, h = 20);
  }
}
