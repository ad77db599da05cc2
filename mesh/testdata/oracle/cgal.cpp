// Prints reference figures of meshes, worked out by CGAL 5.5 (Debian package
// libcgal-dev) and nothing of this project:
//
//	g++ -O2 -DNDEBUG cgal.cpp -o cgal -lgmp -lmpfr
//	./cgal ../../../testdata/meshes FILE... > cgal.csv
//
// Equal points are made one; facets with two equal corners or with all corners
// in a line are left out. "intersections" are the pairs of facets that
// Polygon_mesh_processing::self_intersections finds; -1 where the facets are no
// surface that it takes. Volume and centroid stand where the surface is closed.
// Left out: ASCII STL with a tab after "solid" or key words in upper case, binary
// STL that starts with "solid", and faces of four corners, none of which it reads.
#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <CGAL/Polygon_mesh_processing/connected_components.h>
#include <CGAL/Polygon_mesh_processing/measure.h>
#include <CGAL/Polygon_mesh_processing/polygon_soup_to_polygon_mesh.h>
#include <CGAL/Polygon_mesh_processing/repair_polygon_soup.h>
#include <CGAL/Polygon_mesh_processing/self_intersections.h>
#include <CGAL/Surface_mesh.h>
#include <CGAL/IO/polygon_soup_io.h>
#include <cstdio>
#include <string>
#include <vector>

typedef CGAL::Exact_predicates_inexact_constructions_kernel K;
typedef CGAL::Surface_mesh<K::Point_3> Mesh;
namespace PMP = CGAL::Polygon_mesh_processing;

int main(int argc, char **argv) {
  std::printf("file,facets,area,volume,x,y,z,pieces,intersections\n");
  for (int i = 2; i < argc; i++) {
    std::vector<K::Point_3> points;
    std::vector<std::vector<std::size_t>> soup, facets;
    if (!CGAL::IO::read_polygon_soup(std::string(argv[1]) + "/" + argv[i], points, soup)) {
      std::fprintf(stderr, "%s can't be read\n", argv[i]);
      continue;
    }
    PMP::merge_duplicate_points_in_polygon_soup(points, soup);
    double area = 0;
    for (auto &f : soup) {
      if (f.size() != 3 || f[0] == f[1] || f[1] == f[2] || f[2] == f[0]) continue;
      const auto &a = points[f[0]], &b = points[f[1]], &c = points[f[2]];
      if (CGAL::collinear(a, b, c)) continue;
      area += std::sqrt(K::Triangle_3(a, b, c).squared_area());
      facets.push_back(f);
    }
    std::printf("%s,%zu,%.15g", argv[i], facets.size(), area);
    if (!PMP::is_polygon_soup_a_polygon_mesh(facets)) {
      std::printf(",,,,,,-1\n");
      continue;
    }
    Mesh mesh;
    PMP::polygon_soup_to_polygon_mesh(points, facets, mesh);
    if (CGAL::is_closed(mesh)) {
      auto c = PMP::centroid(mesh);
      std::printf(",%.15g,%.15g,%.15g,%.15g", PMP::volume(mesh), c.x(), c.y(), c.z());
    } else {
      std::printf(",,,,");
    }
    auto piece = mesh.add_property_map<Mesh::Face_index, std::size_t>("f:piece").first;
    std::printf(",%zu", PMP::connected_components(mesh, piece));
    std::vector<std::pair<Mesh::Face_index, Mesh::Face_index>> pairs;
    PMP::self_intersections(mesh, std::back_inserter(pairs));
    std::printf(",%zu\n", pairs.size());
    std::fflush(stdout);
  }
}
