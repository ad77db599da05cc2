// Blade hinge bracket: a foot, a post and an arm that reaches out sideways.
$fn = 64;
difference() {
    union() {
        cube([46, 30, 6]);                          // foot
        cube([12, 30, 52]);                         // post
        translate([0, 0, 44]) cube([38, 30, 8]);    // arm, nothing below it
        translate([23, 15, 0]) cylinder(d = 28, h = 30); // boss
        // a gusset at 50 degrees carries the last part of the arm's root
        translate([12, 26, 34]) rotate([90, 0, 0])
            linear_extrude(22) polygon([[0, -2], [10, 10], [0, 10]]);
    }
    for (x = [40], y = [6, 24]) translate([x, y, -1]) cylinder(d = 5.5, h = 8);
    translate([30, 15, 43]) cylinder(d = 8, h = 10);   // pin eye, upright
    translate([-1, 15, 24]) rotate([0, 90, 0]) cylinder(d = 7, h = 8); // sensor bore, flat
}
