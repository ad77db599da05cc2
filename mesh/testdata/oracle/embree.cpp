// Rays and nearest points by Embree 3 on the meshes, rays and query points of
// mesh/bvh_bench_test.go. Made ready by
//
//   go test ./mesh -run TestTreeShapes -treedump /tmp
//   g++ -O3 -march=native mesh/testdata/oracle/embree.cpp -lembree3 -o /tmp/embree
//
// To compare speed, by one thread and in processor time on both sides, so that
// other work on the machine hardly shows:
//
//   /tmp/embree /tmp/gyroid-100000.stl
//   go test ./mesh -run xxx -bench 'Ray|Nearest|TreeBuild'
//
// To make the table that the tests compare with:
//
//   cd /tmp && ./embree table bracket-15000.stl gyroid-10000.stl > embree.csv
#include <embree3/rtcore.h>
#include <ctime>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstring>
#include <map>
#include <array>
#include <string>
#include <vector>

using V = std::array<double, 3>;
static V operator+(V a, V b) { return {a[0] + b[0], a[1] + b[1], a[2] + b[2]}; }
static V operator-(V a, V b) { return {a[0] - b[0], a[1] - b[1], a[2] - b[2]}; }
static V operator*(double s, V a) { return {s * a[0], s * a[1], s * a[2]}; }
static V cross(V a, V b) { return {a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]}; }
static double norm(V a) { return std::sqrt(a[0] * a[0] + a[1] * a[1] + a[2] * a[2]); }
static V unit(V a) { return 1 / norm(a) * a; }
static double now() { timespec t; clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t); return t.tv_sec + 1e-9 * t.tv_nsec; } // processor time: other work on the machine does not show

struct Mix {
	uint64_t s;
	double next() {
		s += 0x9e3779b97f4a7c15;
		uint64_t z = s;
		z = (z ^ z >> 30) * 0xbf58476d1ce4e5b9;
		z = (z ^ z >> 27) * 0x94d049bb133111eb;
		return double((z ^ z >> 31) >> 11) * 0x1p-53;
	}
};

static std::vector<V> verts;
static std::vector<std::array<uint32_t, 3>> facets;
struct Ray { V o, d; };
static const int rays = 1 << 18;

static std::vector<Ray> raysOf(const char *kind) {
	V lo = verts[0], hi = lo;
	for (V v : verts) for (int k = 0; k < 3; k++) lo[k] = std::min(lo[k], v[k]), hi[k] = std::max(hi[k], v[k]);
	V s = hi - lo, c = 0.5 * (lo + hi);
	Mix gen{1};
	std::vector<Ray> rs(rays);
	auto any = [&] { V p; for (int k = 0; k < 3; k++) p[k] = lo[k] + s[k] * gen.next(); return p; };
	for (int i = 0; i < rays; i++) {
		if (!strcmp(kind, "coherent")) {
			int side = int(std::sqrt(rays));
			V eye = c + 1.3 * s, u = unit({s[1], -s[0], 0}), v = cross(u, unit(c - eye));
			double x = double(i % side) / side - 0.5, y = double(i / side) / side - 0.5;
			rs[i] = {eye, c + x * norm(s) * 0.7 * u + y * norm(s) * 0.7 * v - eye};
		} else if (!strcmp(kind, "incoherent")) {
			V o = any(), to = any();
			rs[i] = {o, to - o};
		} else {
			auto f = facets[int(facets.size() * gen.next())];
			V a = verts[f[0]], b = verts[f[1]], d = verts[f[2]], n = unit(cross(b - a, d - a));
			rs[i] = {1.0 / 3 * (a + b + d) - 1e-4 * n, -1.0 * n};
		}
	}
	return rs;
}

struct Query { RTCGeometry geo; double best; };
static V closest(V p, V a, V b, V c); // Ericson, below

static bool visit(RTCPointQueryFunctionArguments *q) {
	auto *u = (Query *)q->userPtr;
	auto f = facets[q->primID];
	V p = {q->query->x, q->query->y, q->query->z};
	double d = norm(closest(p, verts[f[0]], verts[f[1]], verts[f[2]]) - p);
	if (d < q->query->radius) {
		q->query->radius = float(d);
		u->best = d;
		return true;
	}
	return false;
}

static void load(const char *name) {
	verts.clear(), facets.clear();
	FILE *in = fopen(name, "rb");
	uint8_t head[84];
	if (!in || fread(head, 1, 84, in) != 84) exit(1);
	uint32_t n;
	memcpy(&n, head + 80, 4);
	std::map<V, uint32_t> index;
	for (uint32_t i = 0; i < n; i++) {
		uint8_t r[50];
		if (fread(r, 1, 50, in) != 50) exit(1);
		float c[12];
		memcpy(c, r, 48);
		std::array<uint32_t, 3> f;
		for (int j = 0; j < 3; j++) {
			V v = {c[3 + 3 * j], c[4 + 3 * j], c[5 + 3 * j]};
			auto it = index.emplace(v, verts.size());
			if (it.second) verts.push_back(v);
			f[j] = it.first->second;
		}
		facets.push_back(f);
	}
	fclose(in);
}

static RTCScene build(RTCDevice dev, RTCBuildQuality quality) {
	RTCGeometry geo = rtcNewGeometry(dev, RTC_GEOMETRY_TYPE_TRIANGLE);
	auto *vb = (float *)rtcSetNewGeometryBuffer(geo, RTC_BUFFER_TYPE_VERTEX, 0, RTC_FORMAT_FLOAT3, 12, verts.size());
	for (size_t i = 0; i < verts.size(); i++) for (int k = 0; k < 3; k++) vb[3 * i + k] = float(verts[i][k]);
	auto *ib = (uint32_t *)rtcSetNewGeometryBuffer(geo, RTC_BUFFER_TYPE_INDEX, 0, RTC_FORMAT_UINT3, 12, facets.size());
	memcpy(ib, facets.data(), 12 * facets.size());
	rtcSetGeometryPointQueryFunction(geo, [](RTCPointQueryFunctionArguments *q) { return visit(q); });
	rtcCommitGeometry(geo);
	RTCScene scene = rtcNewScene(dev);
	rtcSetSceneFlags(scene, RTC_SCENE_FLAG_ROBUST); // ours lets no ray through an edge either
	rtcSetSceneBuildQuality(scene, quality);
	rtcAttachGeometry(scene, geo);
	rtcReleaseGeometry(geo);
	rtcCommitScene(scene);
	return scene;
}

// cast returns where a ray meets the mesh, in lengths of its direction; -1 if
// nowhere.
static double cast(RTCScene scene, const Ray &r) {
	RTCIntersectContext ctx;
	rtcInitIntersectContext(&ctx);
	RTCRayHit q;
	q.ray.org_x = r.o[0], q.ray.org_y = r.o[1], q.ray.org_z = r.o[2];
	q.ray.dir_x = r.d[0], q.ray.dir_y = r.d[1], q.ray.dir_z = r.d[2];
	q.ray.tnear = 0, q.ray.tfar = INFINITY, q.ray.time = 0, q.ray.mask = -1, q.ray.id = 0, q.ray.flags = 0;
	q.hit.geomID = RTC_INVALID_GEOMETRY_ID, q.hit.instID[0] = RTC_INVALID_GEOMETRY_ID;
	rtcIntersect1(scene, &ctx, &q);
	return q.hit.geomID == RTC_INVALID_GEOMETRY_ID ? -1 : q.ray.tfar;
}

static double nearest(RTCScene scene, V p) {
	RTCPointQueryContext ctx;
	rtcInitPointQueryContext(&ctx);
	RTCPointQuery q{float(p[0]), float(p[1]), float(p[2]), 0, INFINITY};
	Query u{nullptr, INFINITY};
	rtcPointQuery(scene, &q, &ctx, nullptr, &u);
	return u.best;
}

static std::vector<V> pointsOf(const char *kind) {
	Mix gen{2};
	V lo = verts[0], hi = lo;
	for (V v : verts) for (int k = 0; k < 3; k++) lo[k] = std::min(lo[k], v[k]), hi[k] = std::max(hi[k], v[k]);
	std::vector<V> ps(rays / 8);
	for (V &p : ps) {
		if (!strcmp(kind, "near")) {
			auto f = facets[int(facets.size() * gen.next())];
			V a = verts[f[0]], b = verts[f[1]], d = verts[f[2]];
			p = 1.0 / 3 * (a + b + d) + 0.2 * gen.next() * unit(cross(b - a, d - a));
		} else {
			for (int k = 0; k < 3; k++) p[k] = lo[k] + (hi[k] - lo[k]) * gen.next();
		}
	}
	return ps;
}

// best is the least of some runs of work, in processor time.
template <class F> static double best(F work) {
	double least = 1e9;
	for (int run = 0; run < 5; run++) {
		double t = now();
		work();
		least = std::min(least, now() - t);
	}
	return least;
}

static void speed(RTCDevice dev) {
	RTCScene scene = nullptr;
	for (RTCBuildQuality quality : {RTC_BUILD_QUALITY_MEDIUM, RTC_BUILD_QUALITY_HIGH}) {
		if (scene) rtcReleaseScene(scene);
		double t = now();
		scene = build(dev, quality);
		printf("build %s %.3f s, %zu facets\n", quality == RTC_BUILD_QUALITY_HIGH ? "high" : "medium", now() - t, facets.size());
		for (const char *kind : {"coherent", "incoherent", "inward"}) {
			auto rs = raysOf(kind);
			int hits = 0;
			double s = best([&] { hits = 0; for (auto &r : rs) hits += cast(scene, r) >= 0; });
			printf("  ray %-10s %.2f Mray/s, %.4f hit\n", kind, rays / s / 1e6, double(hits) / rays);
		}
	}
	for (const char *kind : {"near", "anywhere"}) {
		auto ps = pointsOf(kind);
		double sum = 0;
		double s = best([&] { sum = 0; for (V p : ps) sum += nearest(scene, p); });
		printf("  nearest %-8s %.3f Mquery/s, mean %.5f mm\n", kind, ps.size() / s / 1e6, sum / ps.size());
	}
}

// table prints every 5000th ray and every 600th point.
static void table(RTCDevice dev, std::string name) {
	RTCScene scene = build(dev, RTC_BUILD_QUALITY_HIGH);
	name = name.substr(0, name.size() - 4);
	for (const char *kind : {"coherent", "incoherent", "inward"}) {
		auto rs = raysOf(kind);
		for (int i = 0; i < rays; i += 5000) printf("%s,%s,%d,%.7g\n", name.c_str(), kind, i, cast(scene, rs[i]));
	}
	for (const char *kind : {"near", "anywhere"}) {
		auto ps = pointsOf(kind);
		for (size_t i = 0; i < ps.size(); i += 600) printf("%s,%s,%zu,%.9g\n", name.c_str(), kind, i, nearest(scene, ps[i]));
	}
}

int main(int argc, char **argv) {
	RTCDevice dev = rtcNewDevice(nullptr);
	bool tables = argc > 1 && !strcmp(argv[1], "table");
	if (tables) printf("mesh,kind,number,value\n");
	for (int i = 1 + tables; i < argc; i++) {
		load(argv[i]);
		if (tables) table(dev, argv[i]);
		else printf("%s\n", argv[i]), speed(dev);
	}
}

static double dot(V a, V b) { return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]; }
// Ericson (2004), "Real-Time Collision Detection", 5.1.5.
static V closest(V p, V a, V b, V c) {
	V ab = b - a, ac = c - a, ap = p - a;
	double d1 = dot(ab, ap), d2 = dot(ac, ap);
	if (d1 <= 0 && d2 <= 0) return a;
	V bp = p - b;
	double d3 = dot(ab, bp), d4 = dot(ac, bp);
	if (d3 >= 0 && d4 <= d3) return b;
	double vc = d1 * d4 - d3 * d2;
	if (vc <= 0 && d1 >= 0 && d3 <= 0) return a + d1 / (d1 - d3) * ab;
	V cp = p - c;
	double d5 = dot(ab, cp), d6 = dot(ac, cp);
	if (d6 >= 0 && d5 <= d6) return c;
	double vb = d5 * d2 - d1 * d6;
	if (vb <= 0 && d2 >= 0 && d6 <= 0) return a + d2 / (d2 - d6) * ac;
	double va = d3 * d6 - d5 * d4;
	if (va <= 0 && d4 - d3 >= 0 && d5 - d6 >= 0) return b + (d4 - d3) / ((d4 - d3) + (d5 - d6)) * (c - b);
	double s = 1 / (va + vb + vc);
	return a + vb * s * ab + vc * s * ac;
}
