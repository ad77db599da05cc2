// Reading STL in bulk, for the speed of it: a binary file into one buffer and
// from there the corners into an array, as a loop in C does; a text file number
// by number with from_chars. In seconds of the wall clock, since a reader waits
// for pages as well, the best of five:
//
//   g++ -O3 mesh/testdata/oracle/stl_read.cpp -o /tmp/stl_read
//   /tmp/stl_read some.stl
//
// mesh/beside_test.go runs it.
#include <charconv>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <vector>

static double now() { return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count(); }

// whole returns a file's bytes and one NUL more.
static char *whole(const char *name, size_t &n) {
  FILE *in = std::fopen(name, "rb");
  if (!in || std::fseek(in, 0, SEEK_END)) std::exit(1);
  n = std::ftell(in);
  std::rewind(in);
  char *d = (char *)std::malloc(n + 1);
  if (std::fread(d, 1, n, in) != n) std::exit(1);
  d[n] = 0;
  std::fclose(in);
  return d;
}

static size_t binary(const char *name) {
  size_t size;
  char *d = whole(name, size);
  uint32_t n;
  std::memcpy(&n, d + 80, 4);
  float *corners = (float *)std::malloc(36 * size_t(n));
  for (uint32_t i = 0; i < n; i++) std::memcpy(corners + 9 * size_t(i), d + 84 + 50 * size_t(i) + 12, 36);
  volatile float last = corners[9 * size_t(n) - 1];
  (void)last;
  std::free(corners);
  std::free(d);
  return n;
}

static size_t text(const char *name) {
  size_t size;
  char *d = whole(name, size), *end = d + size;
  std::vector<float> corners;
  for (char *at = d; (at = std::strstr(at, "vertex"));) {
    at += 6;
    for (int k = 0; k < 3; k++) {
      while (at < end && *at <= ' ') at++;
      float x = 0;
      at = (char *)std::from_chars(at, end, x).ptr;
      corners.push_back(x);
    }
  }
  std::free(d);
  return corners.size() / 9;
}

int main(int argc, char **argv) {
  for (int i = 1; i < argc; i++) {
    size_t n;
    char *d = whole(argv[i], n);
    bool words = !std::strncmp(d, "solid", 5);
    std::free(d);
    double least = 1e9;
    size_t facets = 0;
    for (int run = 0; run < 5; run++) {
      double from = now();
      facets = words ? text(argv[i]) : binary(argv[i]);
      least = std::min(least, now() - from);
    }
    std::printf("%s %zu facets %.5f s\n", words ? "text" : "binary", facets, least);
  }
}
