// Bores that turn a corner in a block, in mm. Made for corbel; same licence as the code.
// openscad -o elbows.stl elbows.scad, then written as binary.
// The ball in a corner fits the bores as sides allow: it ends a little below or above
// their crowns. What runs off the third bore is a slot with a flat ceiling, 6 mm wide.
$fn = 48;

module bore(turn, d = 6) rotate([-90, 0, turn]) cylinder(d = d, h = 40);

difference() {
    cube([120, 40, 30]);
    translate([20, 20, 15]) { bore(0); bore(110); sphere(d = 6, $fn = 30); }
    translate([60, 20, 15]) { bore(0); bore(90, 6.03); sphere(d = 6.06); }
    translate([100, 20, 15]) { bore(0); translate([-3, -30, -1]) cube([6, 30, 3.9]); }
}
