// Slicing by CGAL 5.5 (Debian package libcgal-dev): outlines at even heights, in
// processor time of one thread, its search tree apart.
//
//   g++ -O3 -DNDEBUG mesh/testdata/oracle/cgal_slice.cpp -o /tmp/cgal_slice -lgmp -lmpfr
//   /tmp/cgal_slice some.stl 100
//
// mesh/beside_test.go runs it.
#include <CGAL/Simple_cartesian.h>
#include <CGAL/Surface_mesh.h>
#include <CGAL/AABB_tree.h>
#include <CGAL/AABB_traits.h>
#include <CGAL/AABB_halfedge_graph_segment_primitive.h>
#include <CGAL/Polygon_mesh_slicer.h>
#include <CGAL/Polygon_mesh_processing/IO/polygon_mesh_io.h>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <iterator>
#include <vector>

typedef CGAL::Simple_cartesian<double> K;
typedef CGAL::Surface_mesh<K::Point_3> Mesh;
typedef CGAL::AABB_halfedge_graph_segment_primitive<Mesh> Edge;
typedef CGAL::AABB_tree<CGAL::AABB_traits<K, Edge>> Tree;

int main(int argc, char **argv) {
  Mesh m;
  if (argc < 3 || !CGAL::Polygon_mesh_processing::IO::read_polygon_mesh(argv[1], m)) return 1;
  int layers = std::atoi(argv[2]);
  double lo = 1e30, hi = -1e30;
  for (auto v : m.vertices()) lo = std::min(lo, m.point(v).z()), hi = std::max(hi, m.point(v).z());
  std::clock_t from = std::clock();
  Tree tree(edges(m).first, edges(m).second, m);
  CGAL::Polygon_mesh_slicer<Mesh, K> slicer(m, tree);
  double built = double(std::clock() - from) / CLOCKS_PER_SEC;
  from = std::clock();
  size_t points = 0;
  for (int i = 0; i < layers; i++) {
    std::vector<std::vector<K::Point_3>> lines;
    slicer(K::Plane_3(0, 0, 1, -(lo + (hi - lo) * (i + 0.5) / layers)), std::back_inserter(lines));
    for (auto &l : lines) points += l.size();
  }
  std::printf("%zu facets, %d layers, %zu points: tree %.3f s, cuts %.3f s\n", (size_t)m.number_of_faces(), layers, points, built, double(std::clock() - from) / CLOCKS_PER_SEC);
}
