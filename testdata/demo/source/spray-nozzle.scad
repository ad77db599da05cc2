// Wash nozzle for metal extrusion: a body too thick to debind, a flat bore.
$fn = 48;
difference() {
    union() {
        cylinder(d = 30, h = 22);
        translate([0, 0, 22]) cylinder(d1 = 30, d2 = 14, h = 12);
        translate([-22, -8, 0]) cube([44, 16, 8]);
    }
    translate([0, 0, -1]) cylinder(d = 8, h = 40);
    translate([0, -20, 12]) rotate([-90, 0, 0]) cylinder(d = 7, h = 20);
    for (x = [-18, 18]) translate([x, 0, -1]) cylinder(d = 4, h = 10);
}
