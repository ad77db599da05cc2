// Converter cooler: a plate with upright fins. Two fins stand too close.
module fin(y) translate([2, y, 4]) cube([46, 0.6, 22]);
difference() {
    union() {
        cube([50, 40, 4.01]);
        for (i = [0:10]) fin(2 + i * 3.3);
        fin(2 + 3.3 * 10 + 0.6 + 0.3);
    }
    for (x = [3.5, 46.5], y = [38]) translate([x, y, -1]) cylinder(d = 3, h = 6, $fn = 32);
}
