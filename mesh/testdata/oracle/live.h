// What live_cgal.cpp and live_embree.cpp read from standard input, as
// mesh/oracle_live_test.go writes it: for each mesh a line
//
//	mesh NAME VERTICES FACETS RAYS POINTS HEIGHTS
//
// then as many lines of coordinates, corners, rays (origin and direction),
// points and heights. They answer in lines "NAME QUANTITY NUMBER VALUE".
#include <array>
#include <cstdio>
#include <iostream>
#include <string>
#include <vector>

typedef std::array<double, 3> V;

struct Job {
  std::string name;
  std::vector<V> verts, points;
  std::vector<std::array<std::size_t, 3>> facets;
  std::vector<std::array<V, 2>> rays;
  std::vector<double> heights;

  bool read() {
    std::string word;
    std::size_t v, f, r, p, h;
    if (!(std::cin >> word >> name >> v >> f >> r >> p >> h)) return false;
    verts.resize(v), facets.resize(f), rays.resize(r), points.resize(p), heights.resize(h);
    for (V &x : verts) std::cin >> x[0] >> x[1] >> x[2];
    for (auto &x : facets) std::cin >> x[0] >> x[1] >> x[2];
    for (auto &x : rays) std::cin >> x[0][0] >> x[0][1] >> x[0][2] >> x[1][0] >> x[1][1] >> x[1][2];
    for (V &x : points) std::cin >> x[0] >> x[1] >> x[2];
    for (double &x : heights) std::cin >> x;
    return bool(std::cin);
  }

  void say(const char *quantity, std::size_t number, double value) const {
    std::printf("%s %s %zu %.17g\n", name.c_str(), quantity, number, value);
  }
};
