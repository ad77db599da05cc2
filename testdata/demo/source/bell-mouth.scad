// Bell mouth: a funnel whose drip skirt hangs in the air and ends in a sharp lip.
$fn = 72;
rotate_extrude() polygon([
    [9, 0], [13, 0], [13, 24], [27, 42],
    // skirt: out, and down again to a sharp lip
    [30, 42], [28.6, 30], [32, 46], [26.5, 46],
    [9, 22.6]]);
