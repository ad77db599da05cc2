// Wall thickness by a cone of 25 rays a facet, by CGAL 5.5 (Debian package
// libcgal-dev), for the speed of it and nothing else: corbel's own thickness is
// defined by touching balls (opposed.go), not by rays.
//
//   go test ./mesh -run TestTreeShapes -treedump /tmp
//   g++ -O3 -march=native -DNDEBUG mesh/testdata/oracle/cgal_cone.cpp -o /tmp/cgal_cone -lgmp -lmpfr
//   /tmp/cgal_cone /tmp/gyroid-100000.stl
//   go test ./rules -run xxx -bench CheckCold/gyroid/100000 -benchtime 1x
//
// Here processor time of one thread, there seconds of all cores for the step
// wall-thickness.
#include <CGAL/Simple_cartesian.h>
#include <CGAL/Surface_mesh.h>
#include <CGAL/mesh_segmentation.h>
#include <CGAL/Polygon_mesh_processing/IO/polygon_mesh_io.h>
#include <cstdio>
#include <ctime>

typedef CGAL::Simple_cartesian<double> K;
typedef CGAL::Surface_mesh<K::Point_3> Mesh;

int main(int argc, char **argv) {
  for (int i = 1; i < argc; i++) {
    Mesh m;
    if (!CGAL::Polygon_mesh_processing::IO::read_polygon_mesh(argv[i], m)) {
      std::fprintf(stderr, "%s: not read\n", argv[i]);
      return 1;
    }
    auto thick = m.add_property_map<Mesh::Face_index, double>("f:thick", 0).first;
    std::clock_t from = std::clock();
    CGAL::sdf_values(m, thick, 2.0 / 3.0 * CGAL_PI, 25, false);
    std::printf("%s %zu facets %.2f s\n", argv[i], (size_t)m.number_of_faces(), double(std::clock() - from) / CLOCKS_PER_SEC);
  }
}
