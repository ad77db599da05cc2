// A block with a bent channel of n straight steps, each a cylinder that runs ext
// beyond its ends, drilled into from both sides over the bend's first step.
d = 3; R = 4; n = 6; a = 90; over = 0.3; ext = 0.3; sides = 24; balls = 0; wider = 0;
function at(t) = [R - R * cos(t), 0, R * sin(t)];
module bore(p, q, d, first, last) {
  u = (q - p) / norm(q - p);
  translate(p - u * first) rotate([0, acos(u[2]), atan2(u[1], u[0])]) rotate(7)
    cylinder(d = d, h = norm(q - p) + first + last, $fn = sides);
}
difference() {
  translate([-2 * d, -1.5 * d, -8]) cube([4 * d + R, 3 * d, 14 + R]);
  bore([0, 0, -9], [0, 0, 0], d + wider, 0, over);
  bore(at(a), at(a) + 30 * [sin(a), 0, cos(a)], d + wider, over, 0);
  for (i = [0:n - 1]) bore(at(a * i / n), at(a * (i + 1) / n), d, ext, ext);
  if (balls) for (i = [0:n]) translate(at(a * i / n)) rotate(7) sphere(d = d, $fn = sides);
}
