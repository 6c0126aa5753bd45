// SPDX-License-Identifier: MIT
#include "spice.hpp"
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fmt/format.h>
#include <fstream>
#include <iterator>
#include <sstream>
#include <stdexcept>

namespace yokedock::sim {

namespace {

struct TemporaryFolder {
    std::filesystem::path path;
    TemporaryFolder() {
        std::string name =
            (std::filesystem::temp_directory_path() / "yokedock-spice-XXXXXX").string();
        if (mkdtemp(name.data()) == nullptr) {
            throw std::runtime_error("no temporary folder could be made from " + name);
        }
        path = name;
    }
    ~TemporaryFolder() {
        std::error_code ignored;
        std::filesystem::remove_all(path, ignored);
    }
    TemporaryFolder(const TemporaryFolder&) = delete;
    TemporaryFolder& operator=(const TemporaryFolder&) = delete;
};

std::string read_all(const std::filesystem::path& path) {
    std::ifstream in(path);
    return {std::istreambuf_iterator<char>(in), {}};
}

} // namespace

double SpiceRun::at(std::size_t wave, double t) const {
    const auto later = std::lower_bound(time_s.begin(), time_s.end(), t);
    const auto k = static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(
        later - time_s.begin(), 1, static_cast<std::ptrdiff_t>(time_s.size()) - 1));
    const double part = (t - time_s[k - 1]) / (time_s[k] - time_s[k - 1]);
    return value[wave][k - 1] + part * (value[wave][k] - value[wave][k - 1]);
}

SpiceRun run_spice(const std::string& circuit, const std::vector<std::string>& waves, double step_s,
                   double end_s, double begin_s) {
    const TemporaryFolder folder;
    std::string list;
    for (const std::string& wave : waves) {
        list += " " + wave;
    }
    {
        std::ofstream net(folder.path / "net.cir");
        net << "* written by the test\n"
            << circuit << fmt::format("\n.tran {} {} {} {} uic\n", step_s, end_s, begin_s, step_s)
            << ".options reltol=1e-4 method=gear\n.control\nset wr_singlescale\nset "
               "wr_vecnames\nrun\nwrdata "
            << (folder.path / "out.txt").string() << list << "\n.endc\n.end\n";
    }
    const std::string command =
        fmt::format("cd '{0}' && ngspice -b net.cir > log.txt 2>&1", folder.path.string());
    SpiceRun run;
    [[maybe_unused]] const int status =
        std::system(command.c_str()); // -b returns 1 after .control, so look at data
    run.log = read_all(folder.path / "log.txt");
    run.value.resize(waves.size());
    std::ifstream data(folder.path / "out.txt");
    std::string line;
    std::getline(data, line); // names
    while (std::getline(data, line)) {
        std::istringstream fields(line);
        double t = 0;
        std::vector<double> row(waves.size());
        fields >> t;
        for (double& x : row) {
            fields >> x;
        }
        if (fields && (run.time_s.empty() || t > run.time_s.back())) {
            run.time_s.push_back(t);
            for (std::size_t k = 0; k < row.size(); ++k) {
                run.value[k].push_back(row[k]);
            }
        }
    }
    return run;
}

} // namespace yokedock::sim
