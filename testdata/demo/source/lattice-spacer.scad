// Lattice spacer: two plates and body-centred cells of round struts between.
cell = 6; nx = 3; ny = 3; nz = 2; d = 0.8;
module strut(a, b) {
    v = b - a; l = norm(v);
    translate(a) rotate([0, acos(v[2] / l), atan2(v[1], v[0])]) cylinder(d = d, h = l, $fn = 10);
}
union() {
    translate([-1.5, -1.5, 0]) cube([nx * cell + 3, ny * cell + 3, 2]);
    translate([-1.5, -1.5, 2 + nz * cell]) cube([nx * cell + 3, ny * cell + 3, 2]);
    translate([0, 0, 2]) for (i = [0:nx - 1], j = [0:ny - 1], k = [0:nz - 1]) translate(cell * [i, j, k]) {
        // the ends go a little into the plates and nodes, so that everything joins
        for (s = [-1, 1], t = [-1, 1]) {
            c = cell / 2 * [1, 1, 1]; e = cell / 2 * [s, t, 1];
            strut(c - e * 1.03, c + e * 1.03);
        }
    }
    // uprights at the corners
    for (x = [0, nx * cell], y = [0, ny * cell]) translate([x, y, 1]) cylinder(d = 2.4, h = nz * cell + 2, $fn = 24);
}
