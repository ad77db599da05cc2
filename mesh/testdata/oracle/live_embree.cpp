// Answers the questions of mesh/oracle_live_test.go by Embree 3 or 4 (Debian
// package libembree-dev), in single precision: where rays end and how far
// points are.
#include "live.h"
#include <cmath>
#include <cstdint>
#if __has_include(<embree4/rtcore.h>)
#include <embree4/rtcore.h>
static void intersect(RTCScene scene, RTCRayHit *q) { rtcIntersect1(scene, q, nullptr); }
#else
#include <embree3/rtcore.h>
static void intersect(RTCScene scene, RTCRayHit *q) {
  RTCIntersectContext ctx;
  rtcInitIntersectContext(&ctx);
  rtcIntersect1(scene, &ctx, q);
}
#endif

static V sub(V a, V b) { return {a[0] - b[0], a[1] - b[1], a[2] - b[2]}; }
static V along(V a, double t, V d) { return {a[0] + t * d[0], a[1] + t * d[1], a[2] + t * d[2]}; }
static double dot(V a, V b) { return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]; }
static V cross(V a, V b) { return {a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]}; }

static double toSegment(V p, V a, V b) {
  V d = sub(b, a);
  double l = dot(d, d), t = l > 0 ? std::min(1.0, std::max(0.0, dot(sub(p, a), d) / l)) : 0;
  V r = sub(p, along(a, t, d));
  return std::sqrt(dot(r, r));
}

// toFacet is the distance of p: to the plane where it stands above the inside,
// else to the nearest edge. Embree leaves it to its caller.
static double toFacet(V p, V a, V b, V c) {
  V n = cross(sub(b, a), sub(c, a));
  bool in = dot(cross(sub(b, a), sub(p, a)), n) >= 0 && dot(cross(sub(c, b), sub(p, b)), n) >= 0 && dot(cross(sub(a, c), sub(p, c)), n) >= 0;
  if (in && dot(n, n) > 0) return std::fabs(dot(sub(p, a), n)) / std::sqrt(dot(n, n));
  return std::min(toSegment(p, a, b), std::min(toSegment(p, b, c), toSegment(p, c, a)));
}

static Job job;
struct Best { V p; double dist; };

static bool visit(RTCPointQueryFunctionArguments *q) {
  auto *best = (Best *)q->userPtr;
  auto f = job.facets[q->primID];
  double d = toFacet(best->p, job.verts[f[0]], job.verts[f[1]], job.verts[f[2]]);
  if (d >= best->dist) return false;
  best->dist = d;
  q->query->radius = float(d * (1 + 1e-6));
  return true;
}

static double cast(RTCScene scene, std::array<V, 2> r) {
  RTCRayHit q;
  q.ray.org_x = r[0][0], q.ray.org_y = r[0][1], q.ray.org_z = r[0][2];
  q.ray.dir_x = r[1][0], q.ray.dir_y = r[1][1], q.ray.dir_z = r[1][2];
  q.ray.tnear = 0, q.ray.tfar = INFINITY, q.ray.time = 0, q.ray.mask = -1, q.ray.id = 0, q.ray.flags = 0;
  q.hit.geomID = RTC_INVALID_GEOMETRY_ID, q.hit.instID[0] = RTC_INVALID_GEOMETRY_ID;
  intersect(scene, &q);
  return q.hit.geomID == RTC_INVALID_GEOMETRY_ID ? -1 : q.ray.tfar;
}

int main() {
  RTCDevice dev = rtcNewDevice(nullptr);
  while (job.read()) {
    RTCGeometry geo = rtcNewGeometry(dev, RTC_GEOMETRY_TYPE_TRIANGLE);
    auto *vb = (float *)rtcSetNewGeometryBuffer(geo, RTC_BUFFER_TYPE_VERTEX, 0, RTC_FORMAT_FLOAT3, 12, job.verts.size());
    for (V v : job.verts) for (double x : v) *vb++ = float(x);
    auto *ib = (uint32_t *)rtcSetNewGeometryBuffer(geo, RTC_BUFFER_TYPE_INDEX, 0, RTC_FORMAT_UINT3, 12, job.facets.size());
    for (auto f : job.facets) for (auto v : f) *ib++ = uint32_t(v);
    rtcSetGeometryPointQueryFunction(geo, visit);
    rtcCommitGeometry(geo);
    RTCScene scene = rtcNewScene(dev);
    rtcSetSceneFlags(scene, RTC_SCENE_FLAG_ROBUST);
    rtcAttachGeometry(scene, geo);
    rtcReleaseGeometry(geo);
    rtcCommitScene(scene);
    for (std::size_t i = 0; i < job.rays.size(); i++) job.say("ray", i, cast(scene, job.rays[i]));
    for (std::size_t i = 0; i < job.points.size(); i++) {
      V p = job.points[i];
      RTCPointQueryContext ctx;
      rtcInitPointQueryContext(&ctx);
      RTCPointQuery q{float(p[0]), float(p[1]), float(p[2]), 0, INFINITY};
      Best best{p, INFINITY};
      rtcPointQuery(scene, &q, &ctx, nullptr, &best);
      job.say("near", i, best.dist);
    }
    rtcReleaseScene(scene);
  }
  rtcReleaseDevice(dev);
}
