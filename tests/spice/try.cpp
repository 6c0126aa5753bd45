#include "tests/spice/vertical_run.hpp"
#include "tests/spice/line_run.hpp"
#include "demo/virtual_bench/board/board_file.hpp"
#include <fmt/format.h>
#include <fstream>
#include <chrono>
using namespace yokedock; using namespace yokedock::spice;
int main(int argc,char**argv){
  auto b=sim::load_board("/work/wt/spice/demo/boards/quillwood13.json").value().parameters;
  for(auto&c:vertical_cases(b)){
    if(argc>1&&c.id!=argv[1])continue;
    auto t0=std::chrono::steady_clock::now();
    auto r=run_vertical(c);
    double s=std::chrono::duration<double>(std::chrono::steady_clock::now()-t0).count();
    if(r.spice.yoke_a.empty()){fmt::print("{} FAILED\n{}\n",c.id,r.log);continue;}
    auto a=compare(r.spice,r.model,kFieldS,0.08);
    fmt::print("{:18} i {:5.2f}% of {:.3f}  node {:5.2f}% of {:.1f}V  rail {:.2f} V retr {:.0f}/{:.0f} width {:.0f}/{:.0f} peak {:.1f}/{:.1f} drift {:.3f}V  {:.2f}s\n",c.id,100*a.current,a.swing_a,100*a.node,a.node_pp_v,a.supply_v,a.retrace_spice_s*1e6,a.retrace_model_s*1e6,a.width_spice_s*1e6,a.width_model_s*1e6,a.peak_spice_v,a.peak_model_v,r.drift_v,s);
    if(argc>1){std::ofstream o("/tmp/sp/"+c.id+".txt");o<<"t is im vs vm rs rm\n";for(size_t k=0;k<r.spice.yoke_a.size();++k)o<<fmt::format("{:.7f} {:.5f} {:.5f} {:.4f} {:.4f} {:.4f} {:.4f}\n",double(k)*r.spice.step_s,r.spice.yoke_a[k],r.model.yoke_a[k],r.spice.out_v[k],r.model.out_v[k],r.spice.supply_v[k],r.model.supply_v[k]);}
  }

  for(auto&c:line_cases(b)){
    if(argc>1&&c.id!=argv[1])continue;
    auto t0=std::chrono::steady_clock::now();
    auto r=run_line(c);
    double s=std::chrono::duration<double>(std::chrono::steady_clock::now()-t0).count();
    if(r.spice.yoke_a.empty()){fmt::print("{} FAILED\n{}\n",c.id,r.log);continue;}
    auto a=compare(r.spice,r.model,kLineS,0.08);
    fmt::print("{:22} i {:5.2f}% of {:.3f}  node {:5.2f}% of {:.1f}V  rail {:.2f} V retr {:.2f}/{:.2f} width {:.2f}/{:.2f} peak {:.1f}/{:.1f} drift {:.3f}A sup {:.3f}/{:.3f} {:.2f}s\n",c.id,100*a.current,a.swing_a,100*a.node,a.node_pp_v,a.supply_v,a.retrace_spice_s*1e6,a.retrace_model_s*1e6,a.width_spice_s*1e6,a.width_model_s*1e6,a.peak_spice_v,a.peak_model_v,r.drift_a,r.supply_spice_a,r.supply_model_a,s);
    if(argc>1){std::ofstream o("/tmp/sp/h"+c.id+".txt");o<<"t is im vs vm rs rm\n";for(size_t k=0;k<r.spice.yoke_a.size();++k)o<<fmt::format("{:.9f} {:.5f} {:.5f} {:.4f} {:.4f} {:.4f} {:.4f}\n",double(k)*r.spice.step_s,r.spice.yoke_a[k],r.model.yoke_a[k],r.spice.out_v[k],r.model.out_v[k],r.spice.supply_v[k],r.model.supply_v[k]);}
  }
}
