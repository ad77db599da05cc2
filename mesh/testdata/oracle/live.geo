// A block that mesh/oracle_live_test.go knows in closed form: corners of the
// mesh lie on its planes, cylinders and ball.
SetFactory("OpenCASCADE");
DefineConstant[ size = 3, sides = 24, tilt = 0.5, s = 1 ];
Box(1) = {0, 0, 0, 36, 20, 8};
Cylinder(2) = {7, 10, -1, 0, 0, 10, 2.5};     // two bores with 1.2 between them
Cylinder(3) = {12.2, 10, -1, 0, 0, 10, 1.5};
Cylinder(4) = {20, 10, -2, 4, 0, 12, 1.25};   // a leaning one
Sphere(5) = {30, 5, 4, 2.5};                  // a sealed void
Cylinder(6) = {30, 14, 3, 0, 0, 6, 0.75};     // a blind one
BooleanDifference(7) = { Volume{1}; Delete; }{ Volume{2:6}; Delete; };
Rotate {{1, 2, 3}, {0, 0, 0}, tilt} { Volume{7}; }
Dilate {{0, 0, 0}, s} { Volume{7}; }
Mesh.MeshSizeFromCurvature = sides;
Mesh.MeshSizeMax = size * s;
Mesh.MeshSizeMin = 0.01 * s;
Mesh.Binary = 1;
