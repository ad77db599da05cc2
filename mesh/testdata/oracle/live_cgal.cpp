// Answers the questions of mesh/oracle_live_test.go by CGAL (Debian package
// libcgal-dev): area, volume, centroid, pieces and pairs of facets that meet;
// where rays end, how many facets they cross and how far points are; whether the
// first point is inside; area and perimeter of sections.
#include "live.h"
#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <CGAL/AABB_face_graph_triangle_primitive.h>
#include <CGAL/AABB_traits.h>
#include <CGAL/AABB_tree.h>
#include <CGAL/Polygon_mesh_processing/connected_components.h>
#include <CGAL/Polygon_mesh_processing/measure.h>
#include <CGAL/Polygon_mesh_processing/polygon_soup_to_polygon_mesh.h>
#include <CGAL/Polygon_mesh_processing/self_intersections.h>
#include <CGAL/Polygon_mesh_slicer.h>
#include <CGAL/Side_of_triangle_mesh.h>
#include <CGAL/Surface_mesh.h>
#include <cmath>

typedef CGAL::Exact_predicates_inexact_constructions_kernel K;
typedef CGAL::Surface_mesh<K::Point_3> Mesh;
typedef CGAL::AABB_traits<K, CGAL::AABB_face_graph_triangle_primitive<Mesh>> Traits;
typedef CGAL::AABB_tree<Traits> Tree;
namespace PMP = CGAL::Polygon_mesh_processing;

static K::Point_3 point(V v) { return K::Point_3(v[0], v[1], v[2]); }

static void sections(const Job &job, const Mesh &mesh) {
  CGAL::Polygon_mesh_slicer<Mesh, K> slicer(mesh);
  for (std::size_t i = 0; i < job.heights.size(); i++) {
    std::vector<std::vector<K::Point_3>> lines;
    slicer(K::Plane_3(0, 0, 1, -job.heights[i]), std::back_inserter(lines));
    // Lines have no sense: an outline inside an odd number of others is a hole.
    double area = 0, length = 0;
    for (auto &line : lines) {
      double twice = 0;
      for (std::size_t k = 0; k + 1 < line.size(); k++) {
        twice += line[k].x() * line[k + 1].y() - line[k + 1].x() * line[k].y();
        length += std::sqrt(CGAL::squared_distance(line[k], line[k + 1]));
      }
      int depth = 0;
      for (auto &other : lines) {
        if (&other == &line) continue;
        bool in = false;
        double x = line[0].x(), y = line[0].y();
        for (std::size_t k = 0; k + 1 < other.size(); k++) {
          auto &a = other[k], &b = other[k + 1];
          if ((a.y() > y) != (b.y() > y) && x < (b.x() - a.x()) * (y - a.y()) / (b.y() - a.y()) + a.x()) in = !in;
        }
        depth += in;
      }
      area += (depth % 2 ? -1 : 1) * std::fabs(twice) / 2;
    }
    job.say("section", i, area);
    job.say("perimeter", i, length);
  }
}

int main() {
  Job job;
  while (job.read()) {
    std::vector<K::Point_3> points;
    for (V v : job.verts) points.push_back(point(v));
    if (!PMP::is_polygon_soup_a_polygon_mesh(job.facets)) {
      std::fprintf(stderr, "%s is no surface that CGAL takes\n", job.name.c_str());
      return 1;
    }
    Mesh mesh;
    PMP::polygon_soup_to_polygon_mesh(points, job.facets, mesh);
    job.say("area", 0, PMP::area(mesh));
    job.say("closed", 0, CGAL::is_closed(mesh));
    auto piece = mesh.add_property_map<Mesh::Face_index, std::size_t>("f:piece").first;
    job.say("pieces", 0, PMP::connected_components(mesh, piece));
    std::vector<std::pair<Mesh::Face_index, Mesh::Face_index>> pairs;
    PMP::self_intersections(mesh, std::back_inserter(pairs));
    job.say("intersections", 0, pairs.size());

    Tree tree(faces(mesh).begin(), faces(mesh).end(), mesh);
    tree.build();
    for (std::size_t i = 0; i < job.rays.size(); i++) {
      K::Point_3 o = point(job.rays[i][0]);
      K::Vector_3 d = point(job.rays[i][1]) - CGAL::ORIGIN;
      K::Ray_3 ray(o, d);
      // Which facets are met is decided exactly, and only then where.
      std::vector<Mesh::Face_index> met;
      tree.all_intersected_primitives(ray, std::back_inserter(met));
      double at = -1;
      for (auto f : met) {
        auto h = mesh.halfedge(f);
        const auto &a = mesh.point(mesh.source(h)), &b = mesh.point(mesh.target(h)), &c = mesh.point(mesh.target(mesh.next(h)));
        auto n = CGAL::cross_product(b - a, c - a);
        double t = ((a - o) * n) / (d * n);
        if (at < 0 || t < at) at = t;
      }
      job.say("ray", i, at);
      job.say("crossed", i, met.size());
    }
    for (std::size_t i = 0; i < job.points.size(); i++) job.say("near", i, std::sqrt(tree.squared_distance(point(job.points[i]))));
    if (!CGAL::is_closed(mesh)) continue;
    auto c = PMP::centroid(mesh);
    job.say("volume", 0, PMP::volume(mesh));
    for (int k = 0; k < 3; k++) job.say("centroid", k, c[k]);
    CGAL::Side_of_triangle_mesh<Mesh, K> side(tree);
    job.say("inside", 0, side(point(job.points[0])) == CGAL::ON_BOUNDED_SIDE);
    sections(job, mesh);
  }
}
